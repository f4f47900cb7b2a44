package main

import (
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/scheduling/chairtime"
)

func TestEveryFieldOfHairCanBeRead(t *testing.T) {
	var h api.HeadBody
	fields := hairFields(&h)
	v := reflect.ValueOf(&h).Elem()
	for i := range v.NumField() {
		x := v.Type().Field(i)
		if !x.IsExported() || x.Tag.Get("readOnly") == "true" {
			continue
		}
		tag, _, _ := strings.Cut(x.Tag.Get("json"), ",")
		require.NotEmpty(t, fields, tag)
		require.Equal(t, tag, fields[0].name)
		require.Same(t, v.Field(i).Addr().Interface(), fields[0].into)
		fields = fields[1:]
	}
	require.Empty(t, fields)
}

func TestRequiredFieldsAreThoseThatTheCoreWants(t *testing.T) {
	missing := map[string]bool{}
	for _, f := range ranges(api.HeadBody{}) {
		missing[f.Field] = true
	}
	for _, f := range hairFields(&api.HeadBody{}) {
		require.Equal(t, missing[f.name], f.required, f.name)
	}
}

func FuzzReadHair(f *testing.F) {
	f.Add(`{"length_cm":35,"density":"medium","strand":"medium","porosity":"normal","sections":4,"plate_depth_cm":3,"hands":1}`)
	f.Add(`[{"length_cm":35},{"length_cm":1e999},null,[],"",{"areas":["nape",3]}]`)
	f.Add("\xef\xbb\xbf{}")
	f.Add(`{"a":`)
	f.Fuzz(func(t *testing.T, input string) {
		hair, _, err := readHair(strings.NewReader(input))
		if err != nil {
			if err.Error() == "" {
				t.Fatalf("%q: empty error", input)
			}
			return
		}
		if len(hair) == 0 {
			t.Fatalf("%q: neither hair nor error", input)
		}
		for _, h := range hair {
			if _, err := chairtime.Default().Estimate(h.Head()); err != nil {
				t.Fatalf("%q: accepted but %v", input, err)
			}
		}
	})
}
