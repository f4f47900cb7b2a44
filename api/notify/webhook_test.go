package notify

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/require"

	"chairblock/api/outbound"
	"chairblock/scheduling"
)

// posted is a request that a gateway got.
type posted struct {
	header http.Header
	body   []byte
}

// receiver is a gateway on loopback. Its answer is 204 unless answer says otherwise.
type receiver struct {
	answer func(w http.ResponseWriter)

	mu  sync.Mutex
	got []posted
}

func (g *receiver) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil || r.Method != http.MethodPost {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	g.mu.Lock()
	g.got = append(g.got, posted{r.Header.Clone(), body})
	g.mu.Unlock()
	if g.answer == nil {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	g.answer(w)
}

func (g *receiver) taken() []posted {
	g.mu.Lock()
	defer g.mu.Unlock()
	return append([]posted(nil), g.got...)
}

func (g *receiver) run(t *testing.T) string {
	t.Helper()
	server := httptest.NewServer(g)
	t.Cleanup(server.Close)
	return server.URL + "/in"
}

// webhookTo makes a webhook to an address on this machine.
func webhookTo(t *testing.T, address string, secrets ...string) *Webhook {
	t.Helper()
	w, err := NewWebhook(outbound.NewClient(outbound.Options{Loopback: true}), address, time.Now, secrets...)
	require.NoError(t, err)
	return w
}

func sampleText() Text {
	return Text{ID: "q5t@harbour.example", To: "+4930901820", Body: "Tomorrow at 9.\nSee you – Harbour Chairs", Language: "en"}
}

// unheard are things that no error may repeat.
func requireNothingOfTheText(t *testing.T, err error) {
	t.Helper()
	for _, s := range []string{"4930901820", "Tomorrow", "whsec_", "secret words"} {
		require.NotContains(t, err.Error(), s)
	}
}

func TestAnIndependentReaderBelievesOurSignature(t *testing.T) {
	t.Parallel()
	g := &receiver{}
	secret := NewSecret()
	w := webhookTo(t, g.run(t), secret)
	require.NoError(t, w.Send(t.Context(), sampleText()))
	require.NoError(t, w.Test(t.Context()))
	got := g.taken()
	require.Len(t, got, 2)
	reader, err := standardwebhooks.NewWebhook(secret)
	require.NoError(t, err)
	for _, p := range got {
		require.NoError(t, reader.Verify(p.body, p.header))
		require.Equal(t, "application/json", p.header.Get("Content-Type"))
		require.NotContains(t, p.header.Get("Webhook-Id"), ".", "a dot would end the id where it is signed")
		changed := append([]byte(nil), p.body...)
		changed[len(changed)-3] ^= 1
		require.Error(t, reader.Verify(changed, p.header))
	}
	var p struct {
		Type      string
		Timestamp time.Time
		Data      map[string]string
	}
	require.NoError(t, json.Unmarshal(got[0].body, &p))
	require.Equal(t, "message.text", p.Type)
	require.WithinDuration(t, time.Now(), p.Timestamp, time.Minute)
	require.Equal(t, map[string]string{"message_id": got[0].header.Get("Webhook-Id"), "to": "+4930901820", "text": sampleText().Body, "language": "en"}, p.Data)
	require.Less(t, len(got[0].body), 20_000)
	require.NotContains(t, string(got[1].body), `"to"`, "a test names nobody")
	require.Contains(t, string(got[1].body), `"message.test"`)
}

func TestEveryTryOfATextCarriesTheSameIDAndANewTime(t *testing.T) {
	t.Parallel()
	g := &receiver{answer: func(w http.ResponseWriter) { w.WriteHeader(http.StatusInternalServerError) }}
	secret := NewSecret()
	w := webhookTo(t, g.run(t), secret)
	for i := range 3 {
		w.now = func() time.Time { return time.Now().Add(time.Duration(i-2) * time.Minute) }
		require.Error(t, w.Send(t.Context(), sampleText()))
	}
	other := sampleText()
	other.ID = "other@harbour.example"
	require.Error(t, w.Send(t.Context(), other))
	got := g.taken()
	reader, err := standardwebhooks.NewWebhook(secret)
	require.NoError(t, err)
	ids, times := map[string]bool{}, map[string]bool{}
	for _, p := range got[:3] {
		ids[p.header.Get("Webhook-Id")], times[p.header.Get("Webhook-Timestamp")] = true, true
		require.NoError(t, reader.Verify(p.body, p.header))
	}
	require.Len(t, ids, 1)
	require.Len(t, times, 3)
	require.False(t, ids[got[3].header.Get("Webhook-Id")])
}

func TestAReplayedTextIsTooOldForAReader(t *testing.T) {
	t.Parallel()
	g := &receiver{}
	secret := NewSecret()
	w := webhookTo(t, g.run(t), secret)
	w.now = func() time.Time { return time.Now().Add(-6 * time.Minute) }
	require.NoError(t, w.Send(t.Context(), sampleText()))
	reader, err := standardwebhooks.NewWebhook(secret)
	require.NoError(t, err)
	p := g.taken()[0]
	require.ErrorIs(t, reader.Verify(p.body, p.header), standardwebhooks.ErrMessageTooOld)
	require.NoError(t, reader.VerifyIgnoringTimestamp(p.body, p.header))
	p.header.Set("Webhook-Timestamp", fmt.Sprint(time.Now().Unix()))
	require.Error(t, reader.Verify(p.body, p.header), "the time is signed, too")
}

func TestWhileSecretsChangeAReaderMayKnowEither(t *testing.T) {
	t.Parallel()
	g := &receiver{}
	older, newer := NewSecret(), NewSecret()
	require.NotEqual(t, older, newer)
	address := g.run(t)
	require.NoError(t, webhookTo(t, address, newer, older).Send(t.Context(), sampleText()))
	require.NoError(t, webhookTo(t, address, newer).Send(t.Context(), sampleText()))
	got := g.taken()
	for secret, want := range map[string][]bool{older: {true, false}, newer: {true, true}, NewSecret(): {false, false}} {
		reader, err := standardwebhooks.NewWebhook(secret)
		require.NoError(t, err)
		for i, p := range got {
			require.Equal(t, want[i], reader.Verify(p.body, p.header) == nil, "%d", i)
		}
	}
}

func TestWhatAGatewayAnswersDecidesAboutAnotherTry(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 6, 8, 9, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		status int
		after  string
		busy   time.Duration // how long to leave it alone
		gone   bool
	}{
		"taken":                       {status: 200},
		"taken for later":             {status: 202, after: "60"},
		"broken":                      {status: 500},
		"not found":                   {status: 404},
		"not understood":              {status: 400},
		"gone for good":               {status: 410, gone: true},
		"too many":                    {status: 429, after: "120", busy: 2 * time.Minute},
		"too many until":              {status: 429, after: now.Add(time.Hour).Format(http.TimeFormat), busy: time.Hour},
		"away":                        {status: 503, after: "7200", busy: 2 * time.Hour},
		"away for years":              {status: 503, after: "999999999", busy: 24 * time.Hour},
		"away until yesterday":        {status: 503, after: now.Add(-time.Hour).Format(http.TimeFormat)},
		"nonsense":                    {status: 503, after: "soon"},
		"less than nothing":           {status: 503, after: "-5"},
		"somewhere else":              {status: 302},
		"somewhere else for good":     {status: 308},
		"nothing to see (a 304, say)": {status: 304},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			elsewhere := &receiver{}
			target := elsewhere.run(t)
			g := &receiver{answer: func(w http.ResponseWriter) {
				if c.after != "" {
					w.Header().Set("Retry-After", c.after)
				}
				w.Header().Set("Location", target)
				w.WriteHeader(c.status)
				_, _ = io.WriteString(w, "secret words")
			}}
			w := webhookTo(t, g.run(t), NewSecret())
			w.now = func() time.Time { return now }
			err := w.Send(t.Context(), sampleText())
			require.Len(t, g.taken(), 1)
			require.Empty(t, elsewhere.taken(), "nobody follows")
			if c.status < 300 {
				require.NoError(t, err)
				return
			}
			requireNothingOfTheText(t, err)
			p, permanent := errors.AsType[*PermanentError](err)
			require.Equal(t, c.gone, permanent)
			require.Equal(t, c.gone, errors.Is(err, ErrGone))
			if permanent {
				require.Contains(t, p.Error(), "gone")
				return
			}
			b, ok := errors.AsType[*BusyError](err)
			require.True(t, ok)
			require.Equal(t, BusyError{c.status, c.busy}, *b)
			require.Contains(t, err.Error(), fmt.Sprint(c.status))
		})
	}
}

// rawGateway accepts connections and does with each what talk says.
func rawGateway(t *testing.T, talk func(net.Conn)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() {
				defer func() { _ = conn.Close() }()
				_ = conn.SetDeadline(time.Now().Add(30 * time.Second))
				talk(conn)
			})
		}
	})
	t.Cleanup(func() {
		require.NoError(t, l.Close())
		wg.Wait()
	})
	return "http://" + l.Addr().String() + "/in"
}

// readRequest reads until the end of the JSON body.
func readRequest(conn net.Conn) {
	var got []byte
	buf := make([]byte, 4096)
	for !strings.HasSuffix(string(got), "}}") {
		n, err := conn.Read(buf)
		if err != nil {
			return
		}
		got = append(got, buf[:n]...)
	}
}

func TestAGatewayThatMisbehavesIsAskedAgainAndSaysWhetherItMayHaveIt(t *testing.T) {
	t.Parallel()
	trickle := func(conn net.Conn, s string) {
		for _, c := range []byte(s) {
			if _, err := conn.Write([]byte{c}); err != nil {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
	}
	for name, c := range map[string]struct {
		talk func(net.Conn)
		lost bool
	}{
		"closes before it has heard anything": {func(conn net.Conn) {}, false},
		"closes before it answers":            {readRequest, true},
		"says half of an answer":              {func(conn net.Conn) { readRequest(conn); _, _ = io.WriteString(conn, "HTTP/1.1 20") }, true},
		"says no HTTP":                        {func(conn net.Conn) { readRequest(conn); _, _ = io.WriteString(conn, "secret words\r\n\r\n") }, true},
		"says a byte now and then": {func(conn net.Conn) {
			readRequest(conn)
			trickle(conn, "HTTP/1.1 204 No Content\r\nX-Long: "+strings.Repeat("a", 1000)+"\r\n\r\n")
		}, true},
		"says nothing": {func(conn net.Conn) { readRequest(conn); _, _ = conn.Read(make([]byte, 1)) }, true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := webhookTo(t, rawGateway(t, c.talk), NewSecret())
			ctx, cancel := context.WithTimeout(t.Context(), time.Second)
			defer cancel()
			began := time.Now()
			err := w.Send(ctx, sampleText())
			require.Error(t, err)
			require.Less(t, time.Since(began), 5*time.Second, "it is not waited for without end")
			requireNothingOfTheText(t, err)
			_, permanent := errors.AsType[*PermanentError](err)
			require.False(t, permanent)
			if c.lost { // closing at once may come before or after the request is out
				require.ErrorIs(t, err, ErrAnswerLost)
			}
		})
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, l.Close())
	err = webhookTo(t, "http://"+l.Addr().String()+"/", NewSecret()).Send(t.Context(), sampleText())
	require.Error(t, err)
	require.NotErrorIs(t, err, ErrAnswerLost, "nobody was there")
}

func TestTheBodyOfAnAnswerCountsForNothing(t *testing.T) {
	t.Parallel()
	const sent = 64 << 20
	wrote := make(chan int, 1)
	g := &receiver{answer: func(w http.ResponseWriter) {
		n := 0
		for block := make([]byte, 1<<16); n < sent; n += len(block) {
			if _, err := w.Write(block); err != nil {
				break
			}
		}
		wrote <- n
	}}
	require.NoError(t, webhookTo(t, g.run(t), NewSecret()).Send(t.Context(), sampleText()))
	require.Less(t, <-wrote, sent, "nobody reads all of it")
}

func TestTextsThatCannotBeSentAreRefusedBeforeAnybodyIsAsked(t *testing.T) {
	t.Parallel()
	g := &receiver{}
	w := webhookTo(t, g.run(t), NewSecret())
	for field, change := range map[string]func(*Text){
		"id":       func(x *Text) { x.ID = "" },
		"to":       func(x *Text) { x.To = "030 901820" },
		"language": func(x *Text) { x.Language = "english please" },
		"body":     func(x *Text) { x.Body = "" },
		"body ":    func(x *Text) { x.Body = strings.Repeat("ä", 1001) },
		"body  ":   func(x *Text) { x.Body = "a\x00b" },
		"body   ":  func(x *Text) { x.Body = "a\xff" },
	} {
		x := sampleText()
		change(&x)
		err := w.Send(t.Context(), x)
		_, permanent := errors.AsType[*PermanentError](err)
		require.True(t, permanent, field)
		require.ErrorContains(t, err, strings.TrimSpace(field))
	}
	require.Empty(t, g.taken())
	longest := sampleText()
	longest.Body = strings.Repeat("\U0001F487", 1000)
	require.NoError(t, w.Send(t.Context(), longest))
	require.Less(t, len(g.taken()[0].body), 20_000)
}

func TestAWebhookWantsAPublicAddressAndARealSecret(t *testing.T) {
	t.Parallel()
	far := outbound.NewClient(outbound.Options{})
	for _, address := range []string{"http://texts.example/", "https://127.0.0.1/", "https://10.0.0.8/", "https://[::ffff:192.168.0.1]/", "ftp://x", "https://u:p@texts.example/", ""} {
		_, err := NewWebhook(far, address, time.Now, NewSecret())
		invalid, ok := errors.AsType[*scheduling.InvalidError](err)
		require.True(t, ok, address)
		require.Equal(t, "address", invalid.Field)
	}
	short := "whsec_" + base64.StdEncoding.EncodeToString(make([]byte, 23))
	for _, secrets := range [][]string{nil, {""}, {"whsec_"}, {short}, {strings.TrimPrefix(NewSecret(), "whsec_")}, {NewSecret(), "whsec_***"}} {
		_, err := NewWebhook(far, "https://texts.example/in", time.Now, secrets...)
		invalid, ok := errors.AsType[*scheduling.InvalidError](err)
		require.True(t, ok)
		require.Equal(t, "secret", invalid.Field)
		require.NotContains(t, err.Error(), "AAAA")
	}
	w := webhookTo(t, "https://texts.example/in", NewSecret())
	require.NotContains(t, fmt.Sprintf("%v %+v %#v %s", w, *w, *w, w), "texts.example")
	require.NotContains(t, fmt.Sprintf("%v %+v %#v %s", sampleText(), sampleText(), sampleText(), sampleText()), "4930901820")
}
