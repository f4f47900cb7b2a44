package webtest_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/webtest"
	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) {
	os.Exit(chromium.Shared(func() int { return storetest.Main(m, store.Migrate, migrations.Hash()) }))
}

func TestAPageIsUsedInABrowserOverADatabase(t *testing.T) {
	s := webtest.New(t)
	s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, webtest.Start.Add(26*time.Hour))
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	b.Light(s.URL + "/?date=2026-06-09")
	require.Contains(t, b.Eval(`document.querySelector("svg").textContent`), "J. K.")
	b.OpenToAll()
	b.Fits()
	b.Shots("webtest-board")
	b.Quiet()
	s.Ask(http.MethodGet, "/salon", nil, http.StatusOK, nil)
}

func TestACrowdedSalonHasYearsOfVisits(t *testing.T) {
	s := webtest.New(t)
	n := s.Crowd(1000)
	require.GreaterOrEqual(t, n, 1000)
	var day api.DayBody
	s.Ask(http.MethodGet, "/days/2026-06-16", nil, http.StatusOK, &day)
	require.Len(t, day.Visits, 13)
	s.Ask(http.MethodGet, "/days/2026-06-02", nil, http.StatusOK, &day)
	require.Len(t, day.Visits, 13)
	require.Equal(t, "finished", day.Visits[0].State)
}

// TestBrowsersHaveNothingOfOneAnother opens two at once, and two more after them, in the
// one process that the tests of this package share.
func TestBrowsersHaveNothingOfOneAnother(t *testing.T) {
	site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		http.SetCookie(w, &http.Cookie{Name: "came", Value: "before"})
		_, err := r.Cookie("came")
		fmt.Fprintf(w, "<!doctype html><html lang=en><title>site</title><main>%v</main>", err == nil)
	}))
	defer site.Close()
	for range 2 {
		t.Run("", func(t *testing.T) {
			for range 2 {
				b := chromium.New(t)
				b.Open(site.URL)
				require.Equal(t, "false", b.Text(), "nobody came before")
				require.Equal(t, "nothing", b.Eval(`localStorage.getItem("kept") || "nothing"`))
				b.Eval(`localStorage.setItem("kept", "words"); ""`)
				b.Open(site.URL)
				require.Equal(t, "true words", b.Eval(`document.querySelector("main").innerText + " " + localStorage.getItem("kept")`))
			}
		})
	}
}
