package ics

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// gzipMark ends the entity tag of a compressed answer (RFC 9110 section
// 8.8.3: the two are different octets, so their strong tags differ).
const gzipMark = "-gz"

// ETag returns the strong entity tag of a feed, quotes included. It changes
// with the version of the feed's data, with the salon's date, since the days
// shown move with it, with the system's zone data and with the renderer
// (Renderer).
func ETag(feedVersion int64, localDate date.Date, renderer int) string {
	return entityTag(feedVersion, localDate, ZoneDataVersion(), renderer)
}

// ContentTag returns the strong entity tag of an object of which nothing but its
// octets tells whether it has changed.
func ContentTag(body []byte) string {
	sum := sha256.Sum256(body)
	return `"` + base64.RawURLEncoding.EncodeToString(sum[:15]) + `"`
}

func entityTag(feedVersion int64, localDate date.Date, zoneData string, renderer int) string {
	return ContentTag(fmt.Appendf(nil, "%d %s %s %d", feedVersion, localDate, zoneData, renderer))
}

// LastModified returns what a feed says on a day when its data changed at
// changed: that time, or the day's begin when it is later, because the days
// shown have moved since.
func LastModified(changed time.Time, loc *time.Location, on date.Date) time.Time {
	begin, _ := scheduling.DayBounds(loc, on)
	return later(changed, begin)
}

// Version is what the validators of an object are.
type Version struct {
	Tag      string    // strong entity tag, quotes included
	Modified time.Time // when the data last changed; the zero time when that is unknown
}

// Type is how an object is called in the headers of its answer.
type Type struct{ ContentType, FileName string }

// The objects that are served.
var (
	FeedType     = Type{"text/calendar; charset=utf-8", "calendar.ics"}
	FreeBusyType = Type{"text/calendar; charset=utf-8; component=VFREEBUSY", "free-busy.ifb"}
)

// Serve answers a request for an object that has the version now. body is called
// only when the whole object is sent, so that a client which already has it costs
// next to nothing; it returns the octets and their version, which may be a newer
// one.
//
// When body fails, its error is returned and nothing has been written. In all
// other cases the answer is complete: 200, 304, or 405 for other methods than
// GET and HEAD.
func Serve(w http.ResponseWriter, r *http.Request, as Type, now Version, body func() ([]byte, Version, error)) error {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		http.Error(w, "a feed can only be read", http.StatusMethodNotAllowed)
		return nil
	}
	if now.same(w, r) {
		return nil
	}
	out, now, err := body()
	if err != nil {
		return err
	}
	if now.same(w, r) { // an object without a version until it was made
		return nil
	}
	h := w.Header()
	feedHeader(h, now.tags(r.Header)[0], settled(now.Modified))
	if takesGzip(r.Header) {
		out = compress(out)
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("Content-Type", as.ContentType)
	h.Set("Content-Disposition", `inline; filename="`+as.FileName+`"`)
	h.Set("Content-Length", strconv.Itoa(len(out)))
	w.WriteHeader(http.StatusOK)
	if r.Method == http.MethodGet {
		_, _ = w.Write(out) // a client that hung up is no fault of the server
	}
	return nil
}

// tags are the entity tags that a client may know the object by, first that of
// what it would be sent.
func (v Version) tags(h http.Header) []string {
	if !takesGzip(h) {
		return []string{v.Tag}
	}
	return []string{strings.TrimSuffix(v.Tag, `"`) + gzipMark + `"`, v.Tag}
}

// same answers 304 and reports true when the client has this version already.
func (v Version) same(w http.ResponseWriter, r *http.Request) bool {
	if v.Tag == "" {
		return false
	}
	modified := settled(v.Modified)
	tag, ok := unchanged(r.Header, v.tags(r.Header), modified)
	if ok {
		feedHeader(w.Header(), tag, modified)
		w.WriteHeader(http.StatusNotModified)
	}
	return ok
}

// feedHeader sets what 200 and 304 share. A feed's address is a secret, so it
// is kept out of shared caches, search engines and referrers.
func feedHeader(h http.Header, etag string, lastModified time.Time) {
	h.Set("ETag", etag)
	if !lastModified.IsZero() {
		h.Set("Last-Modified", lastModified.UTC().Format(http.TimeFormat))
	}
	h.Set("Cache-Control", "private, max-age=0, must-revalidate")
	h.Add("Vary", "Accept-Encoding")
	h.Set("X-Robots-Tag", "noindex")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
}

// settled moves a change of this very second back by one: HTTP dates have no
// fractions, and a client that revalidates by date alone would otherwise miss
// a second change within the same second. A change that lies ahead of this
// machine's clock is said to be as old: no answer may name a later time than its
// own (RFC 9110 section 8.8.2.1, from memory).
func settled(lastModified time.Time) time.Time {
	if lastModified.IsZero() {
		return lastModified
	}
	return earlier(lastModified, time.Now().Truncate(time.Second).Add(-time.Second)).Truncate(time.Second)
}

// unchanged reports whether the client already has what one of tags stands
// for, and which one (RFC 9110 section 13.2.2: If-None-Match beats
// If-Modified-Since).
func unchanged(h http.Header, tags []string, lastModified time.Time) (string, bool) {
	if known := h.Values("If-None-Match"); len(known) > 0 {
		return matching(strings.Join(known, ","), tags)
	}
	since, err := http.ParseTime(h.Get("If-Modified-Since"))
	if err != nil || lastModified.IsZero() || lastModified.After(since) {
		return "", false
	}
	return tags[0], true
}

// matching finds the first of tags in a list of entity tags, by the weak
// comparison (RFC 9110 section 8.8.3.2). A malformed rest of the list matches
// nothing.
func matching(list string, tags []string) (string, bool) {
	if strings.TrimSpace(list) == "*" {
		return tags[0], true
	}
	known := map[string]bool{}
	for {
		list = strings.TrimPrefix(strings.TrimLeft(list, " \t,"), "W/")
		if !strings.HasPrefix(list, `"`) {
			break
		}
		end := strings.IndexByte(list[1:], '"')
		if end < 0 {
			break
		}
		known[list[:end+2]] = true
		list = list[end+2:]
	}
	for _, tag := range tags {
		if known[tag] {
			return tag, true
		}
	}
	return "", false
}

// takesGzip reports whether Accept-Encoding allows gzip (RFC 9110 section
// 12.5.3). A missing header does not.
func takesGzip(h http.Header) bool {
	any := false
	for coding := range strings.SplitSeq(strings.Join(h.Values("Accept-Encoding"), ","), ",") {
		name, params, _ := strings.Cut(coding, ";")
		name = strings.ToLower(strings.TrimSpace(name))
		if name == "gzip" || name == "x-gzip" {
			return weight(params) > 0
		}
		if name == "*" {
			any = weight(params) > 0
		}
	}
	return any
}

// weight reads the q of a coding, 1 without one and 0 when it is nonsense.
func weight(params string) float64 {
	name, value, found := strings.Cut(strings.ReplaceAll(params, " ", ""), "=")
	if !found || !strings.EqualFold(name, "q") {
		return 1
	}
	q, err := strconv.ParseFloat(value, 64)
	if err != nil || !(q >= 0 && q <= 1) {
		return 0
	}
	return q
}

// packers are writers of gzip to use again: each has about 800 KB of its own.
var packers = sync.Pool{New: func() any {
	z, _ := gzip.NewWriterLevel(io.Discard, gzip.BestSpeed) // the level is a valid one
	return z
}}

// compress packs a feed, to the same octets for the same feed.
func compress(body []byte) []byte {
	out := bytes.NewBuffer(make([]byte, 0, len(body)/8+512))
	z := packers.Get().(*gzip.Writer)
	z.Reset(out)
	_, _ = z.Write(body) // a buffer takes all
	_ = z.Close()
	z.Reset(io.Discard)
	packers.Put(z)
	return out.Bytes()
}
