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
	require.Len(t, fields, v.NumField())
	for i, f := range fields {
		tag, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
		require.Equal(t, tag, f.name)
		require.Same(t, v.Field(i).Addr().Interface(), f.into)
	}
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
