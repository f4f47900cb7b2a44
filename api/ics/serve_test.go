package ics

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const tag, packedTag = `"abc"`, `"abc-gz"`

// serveFeed serves a feed whose version is known before it is made.
func serveFeed(w http.ResponseWriter, r *http.Request, tag string, modified time.Time, body func() ([]byte, error)) error {
	v := Version{tag, modified}
	return Serve(w, r, FeedType, v, func() ([]byte, Version, error) {
		out, err := body()
		return out, v, err
	})
}

// ask serves one request for a feed that changed at revised. It reports
// whether the feed was built.
func ask(t testing.TB, method string, header map[string]string) (*http.Response, []byte, bool) {
	t.Helper()
	r := httptest.NewRequest(method, "/cal/x.ics", nil)
	for name, value := range header {
		r.Header.Set(name, value)
	}
	built := false
	w := httptest.NewRecorder()
	require.NoError(t, serveFeed(w, r, tag, revised, func() ([]byte, error) {
		built = true
		return []byte(strings.Repeat("BEGIN:VCALENDAR\r\n", 9)), nil
	}))
	res := w.Result()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	return res, body, built
}

func TestRevalidation(t *testing.T) {
	const modified = "Fri, 20 Nov 2026 08:30:00 GMT"
	for _, tt := range []struct {
		name   string
		header map[string]string
		status int
		tag    string
	}{
		{"first visit", nil, 200, tag},
		{"same tag", map[string]string{"If-None-Match": tag}, 304, tag},
		{"weak form", map[string]string{"If-None-Match": "W/" + tag}, 304, tag},
		{"in a list", map[string]string{"If-None-Match": `"x", W/"abc" , "y"`}, 304, tag},
		{"list with empty members", map[string]string{"If-None-Match": `,, "x",,"abc"`}, 304, tag},
		{"tag with a comma before it", map[string]string{"If-None-Match": `"x,y","abc"`}, 304, tag},
		{"anything", map[string]string{"If-None-Match": " * "}, 304, tag},
		{"other tag", map[string]string{"If-None-Match": `"nope"`}, 200, tag},
		{"tag without quotes", map[string]string{"If-None-Match": "abc"}, 200, tag},
		{"tag without its end", map[string]string{"If-None-Match": `"abc`}, 200, tag},
		{"part of the tag", map[string]string{"If-None-Match": `"ab"`}, 200, tag},
		{"the tag inside another", map[string]string{"If-None-Match": `"x "abc" y"`}, 200, tag},
		{"other tag beats the date", map[string]string{"If-None-Match": `"nope"`, "If-Modified-Since": modified}, 200, tag},
		{"same tag beats an old date", map[string]string{"If-None-Match": tag, "If-Modified-Since": "Thu, 01 Jan 1970 00:00:00 GMT"}, 304, tag},
		{"empty list beats the date", map[string]string{"If-None-Match": "", "If-Modified-Since": modified}, 200, tag},
		{"same date", map[string]string{"If-Modified-Since": modified}, 304, tag},
		{"later date", map[string]string{"If-Modified-Since": "Fri, 20 Nov 2026 08:30:01 GMT"}, 304, tag},
		{"earlier date", map[string]string{"If-Modified-Since": "Fri, 20 Nov 2026 08:29:59 GMT"}, 200, tag},
		{"no date", map[string]string{"If-Modified-Since": "not a date"}, 200, tag},
		{"obsolete form of a date", map[string]string{"If-Modified-Since": "Friday, 20-Nov-26 08:30:00 GMT"}, 304, tag},
		{"compressed", map[string]string{"Accept-Encoding": "gzip"}, 200, packedTag},
		{"compressed with the compressed tag", map[string]string{"Accept-Encoding": "gzip", "If-None-Match": packedTag}, 304, packedTag},
		{"compressed with the plain tag", map[string]string{"Accept-Encoding": "gzip", "If-None-Match": tag}, 304, tag},
		{"plain with the compressed tag", map[string]string{"If-None-Match": packedTag}, 200, tag},
		{"compressed by date", map[string]string{"Accept-Encoding": "gzip", "If-Modified-Since": modified}, 304, packedTag},
	} {
		t.Run(tt.name, func(t *testing.T) {
			res, body, built := ask(t, "GET", tt.header)
			require.Equal(t, tt.status, res.StatusCode)
			require.Equal(t, tt.tag, res.Header.Get("ETag"))
			require.Equal(t, tt.status == 200, built, "the feed is built only to be sent")
			require.Equal(t, tt.status == 304, len(body) == 0)
			for name, want := range map[string]string{
				"Last-Modified": modified, "Cache-Control": "private, max-age=0, must-revalidate", "Vary": "Accept-Encoding",
				"X-Robots-Tag": "noindex", "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer",
			} {
				require.Equal(t, want, res.Header.Get(name), name)
			}
			require.Empty(t, res.Cookies())
			if tt.status == 200 {
				require.Equal(t, "text/calendar; charset=utf-8", res.Header.Get("Content-Type"))
				require.Equal(t, `inline; filename="calendar.ics"`, res.Header.Get("Content-Disposition"))
				require.Equal(t, int64(len(body)), res.ContentLength)
			}
		})
	}
}

func TestAcceptEncoding(t *testing.T) {
	for value, want := range map[string]bool{
		"": false, "gzip": true, "GZIP": true, "x-gzip": true, "deflate, gzip;q=0.5": true, "gzip;q=0": false, "gzip; q=0.0": false, "*": true,
		"*;q=0": false, "gzip;q=0, *": false, "identity": false, "br": false, "gzip;q=nonsense": false, "gzip;q=2": false, "gzip;q=NaN": false, "br, *;q=0.1": true,
	} {
		res, body, _ := ask(t, "GET", map[string]string{"Accept-Encoding": value})
		require.Equal(t, want, res.Header.Get("Content-Encoding") == "gzip", value)
		if want {
			z, err := gzip.NewReader(bytes.NewReader(body))
			require.NoError(t, err)
			body, err = io.ReadAll(z)
			require.NoError(t, err)
		}
		require.Equal(t, strings.Repeat("BEGIN:VCALENDAR\r\n", 9), string(body))
	}
}

func TestHeadAnswersAsGetWithoutBody(t *testing.T) {
	for _, encoding := range []string{"", "gzip"} {
		get, _, _ := ask(t, "GET", map[string]string{"Accept-Encoding": encoding})
		head, body, _ := ask(t, "HEAD", map[string]string{"Accept-Encoding": encoding})
		require.Empty(t, body)
		require.Equal(t, get.StatusCode, head.StatusCode)
		require.Equal(t, get.Header, head.Header)
	}
	res, _, built := ask(t, "HEAD", map[string]string{"If-None-Match": tag})
	require.Equal(t, 304, res.StatusCode)
	require.False(t, built)
}

func TestOtherMethodsAreRefused(t *testing.T) {
	for _, method := range []string{"POST", "PUT", "DELETE", "OPTIONS", "PROPFIND", "TRACE"} {
		res, _, built := ask(t, method, map[string]string{"If-None-Match": tag})
		require.Equal(t, 405, res.StatusCode, method)
		require.Equal(t, "GET, HEAD", res.Header.Get("Allow"))
		require.False(t, built)
	}
}

func TestFeedThatFailsLeavesTheAnswerUnwritten(t *testing.T) {
	broken := errors.New("broken")
	w := httptest.NewRecorder()
	err := serveFeed(w, httptest.NewRequest("GET", "/", nil), tag, revised, func() ([]byte, error) { return nil, broken })
	require.ErrorIs(t, err, broken)
	require.Empty(t, w.Header())
	require.Zero(t, w.Body.Len())
}

func TestUnknownTimeOfChangeIsNotSaid(t *testing.T) {
	r := httptest.NewRequest("GET", "/", nil)
	r.Header.Set("If-Modified-Since", "Fri, 20 Nov 2026 08:30:00 GMT")
	w := httptest.NewRecorder()
	require.NoError(t, serveFeed(w, r, tag, time.Time{}, func() ([]byte, error) { return []byte("x"), nil }))
	require.Equal(t, 200, w.Code)
	require.Empty(t, w.Header().Get("Last-Modified"))
}

func TestSecondChangeWithinASecondIsNotMissedByDate(t *testing.T) {
	now := time.Now()
	w := httptest.NewRecorder()
	body := func() ([]byte, error) { return []byte("x"), nil }
	require.NoError(t, serveFeed(w, httptest.NewRequest("GET", "/", nil), tag, now, body))
	seen, err := http.ParseTime(w.Header().Get("Last-Modified"))
	require.NoError(t, err)
	require.True(t, seen.Before(now.Truncate(time.Second)), "a change later in this second is newer")
}

func TestNoAnswerNamesATimeToCome(t *testing.T) {
	ahead := time.Now().Add(time.Hour)
	serve := func(since time.Time) *httptest.ResponseRecorder {
		r := httptest.NewRequest("GET", "/", nil)
		r.Header.Set("If-Modified-Since", since.UTC().Format(http.TimeFormat))
		w := httptest.NewRecorder()
		require.NoError(t, serveFeed(w, r, tag, ahead, func() ([]byte, error) { return []byte("x"), nil }))
		return w
	}
	require.Equal(t, 304, serve(time.Now().Add(time.Second)).Code)
	old := serve(time.Now().Add(-time.Minute))
	require.Equal(t, 200, old.Code, "as long as it lies ahead it may have changed again")
	said, err := http.ParseTime(old.Header().Get("Last-Modified"))
	require.NoError(t, err)
	require.True(t, said.Before(time.Now()))
}

func TestTagChangesWithEachOfItsParts(t *testing.T) {
	first := ETag(1, thursday, 1)
	require.Equal(t, first, ETag(1, thursday, 1))
	require.Regexp(t, `^"[A-Za-z0-9_-]{20}"$`, first)
	require.Equal(t, first, entityTag(1, thursday, ZoneDataVersion(), 1))
	seen := map[string]bool{first: true}
	for _, other := range []string{
		ETag(2, thursday, 1), ETag(1, thursday.Add(1), 1), ETag(1, thursday, 2), ETag(12, thursday, 1), entityTag(1, thursday, "1999z", 1),
	} {
		require.False(t, seen[other])
		seen[other] = true
	}
}

func TestLastChangeIsNotBeforeTheDayShown(t *testing.T) {
	loc := zone(t, "America/New_York")
	begin := time.Date(2026, time.November, 26, 5, 0, 0, 0, time.UTC)
	require.True(t, LastModified(revised, loc, thursday).Equal(begin))
	require.True(t, LastModified(begin.Add(time.Hour), loc, thursday).Equal(begin.Add(time.Hour)))
}

func TestAFeedThatChangesMeanwhileIsSentWithItsOwnTag(t *testing.T) {
	later := Version{`"later"`, revised.Add(time.Hour)}
	serve := func(known string) *httptest.ResponseRecorder {
		r := httptest.NewRequest("GET", "/", nil)
		r.Header.Set("If-None-Match", known)
		w := httptest.NewRecorder()
		require.NoError(t, Serve(w, r, FeedType, Version{tag, revised}, func() ([]byte, Version, error) { return []byte("new"), later, nil }))
		return w
	}
	w := serve(`"old"`)
	require.Equal(t, "200 new", fmt.Sprint(w.Code, " ", w.Body))
	require.Equal(t, later.Tag, w.Header().Get("ETag"))
	require.Equal(t, "Fri, 20 Nov 2026 09:30:00 GMT", w.Header().Get("Last-Modified"))
	require.Equal(t, 304, serve(`"later"`).Code, "somebody who has it already")
}

func TestAnObjectThatIsKnownByItsOctetsAloneIsRevalidated(t *testing.T) {
	serve := func(header ...string) *httptest.ResponseRecorder {
		r := httptest.NewRequest("GET", "/", nil)
		for i := 0; i < len(header); i += 2 {
			r.Header.Set(header[i], header[i+1])
		}
		w := httptest.NewRecorder()
		require.NoError(t, Serve(w, r, FreeBusyType, Version{}, func() ([]byte, Version, error) {
			return []byte("busy"), Version{Tag: ContentTag([]byte("busy"))}, nil
		}))
		return w
	}
	first := serve()
	require.Equal(t, "200 busy", fmt.Sprint(first.Code, " ", first.Body))
	require.Equal(t, "text/calendar; charset=utf-8; component=VFREEBUSY", first.Header().Get("Content-Type"))
	require.Empty(t, first.Header().Get("Last-Modified"))
	again := serve("If-None-Match", first.Header().Get("ETag"))
	require.Equal(t, 304, again.Code)
	require.Zero(t, again.Body.Len())
	require.Equal(t, 200, serve("If-None-Match", ContentTag([]byte("free"))).Code)
	require.Equal(t, 200, serve("If-Modified-Since", "Fri, 20 Nov 2099 09:30:00 GMT").Code, "no date is known")
}

func FuzzEntityTagList(f *testing.F) {
	for _, s := range []string{tag, `W/"a", "abc"`, `"`, `*`, `W/`, `,,"`, "\"a\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, list string) {
		found, ok := matching(list, []string{packedTag, tag})
		require.Equal(t, ok, found != "")
		if ok && strings.TrimSpace(list) != "*" {
			require.Contains(t, list, found)
		}
	})
}

func BenchmarkUnchangedFeed(b *testing.B) {
	etag := ETag(7, thursday, Renderer)
	r := httptest.NewRequest("GET", "/", nil)
	r.Header.Set("If-None-Match", etag)
	b.ReportAllocs()
	for b.Loop() {
		w := httptest.NewRecorder()
		err := serveFeed(w, r, ETag(7, thursday, Renderer), revised, func() ([]byte, error) { panic("built") })
		if err != nil || w.Code != 304 {
			b.Fatal(w.Code, err)
		}
	}
}

func BenchmarkServe500EventsCompressed(b *testing.B) {
	c := busyYear(500)
	from, to := Window(thursday)
	r := httptest.NewRequest("GET", "/", nil)
	r.Header.Set("Accept-Encoding", "gzip")
	for b.Loop() {
		w := httptest.NewRecorder()
		require.NoError(b, serveFeed(w, r, tag, revised, func() ([]byte, error) { return c.Encode(from, to) }))
		b.ReportMetric(float64(w.Body.Len()), "octets")
	}
}
