package main

import (
	"bytes"
	"net/http"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestTheDemosVisitsCanBeginAndOneOfTomorrowLacksSomething(t *testing.T) {
	st, now := freshStore(t), moment(t, "2026-06-11 11:20:00")
	sealer, err := store.NewSealer([]byte("thirty-two bytes that are no key"))
	require.NoError(t, err)
	st.SealWith(sealer)
	for range 2 { // a second start adds nothing
		d := fillAt(t, st, now)
		s := api.New(st, "http://demo.example", func() time.Time { return now })
		var out bytes.Buffer
		require.NoError(t, d.greet(t.Context(), s, "http://demo.example", "/messages", &out))
		token := regexp.MustCompile(`desk's token +(\S+)`).FindStringSubmatch(out.String())[1]
		list := into[api.ToDoList](ask(t, s, token, http.MethodGet, "/v1/to-do", ""))
		require.Len(t, list.Items, 2)
		for _, x := range list.Items {
			require.Equal(t, d.clients[0].ID, x.ClientID)
			require.Equal(t, "2026-06-12", x.Start.Format(time.DateOnly))
			require.Contains(t, []string{"deposit", "consent"}, x.Kind)
		}
	}
}
