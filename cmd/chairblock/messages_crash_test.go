//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"log"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	netmail "net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
	"chairblock/store/pg"
	"chairblock/store/storetest"
)

// counted is what a receiver took, by the id that it can tell messages by.
type counted struct {
	mu    sync.Mutex
	asked int
	taken map[string]int
	total int
}

// take notes a message and returns how many there are.
func (c *counted) take(id string) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.taken[id]++
	c.total++
	return c.total
}

// ask counts requests and says whether this one is to be put off.
func (c *counted) ask(every int) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asked++
	return c.asked%every == 0
}

func (c *counted) count() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.total
}

// twice counts messages that came more than once.
func (c *counted) twice() (n int) {
	for _, times := range c.taken {
		if times > 1 {
			n++
		}
	}
	return n
}

// letterBox is a mail server that puts off every 7th mail and now and then hangs up
// instead of saying that it has taken one.
type letterBox struct{ counted }

func (b *letterBox) NewSession(c *smtp.Conn) (smtp.Session, error) { return &letterSession{b, c}, nil }

type letterSession struct {
	box  *letterBox
	conn *smtp.Conn
}

func (s *letterSession) Reset()                               {}
func (s *letterSession) Logout() error                        { return nil }
func (s *letterSession) Mail(string, *smtp.MailOptions) error { return nil }
func (s *letterSession) Rcpt(_ string, _ *smtp.RcptOptions) error {
	if s.box.ask(7) {
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 7, 1}, Message: "come again"}
	}
	return nil
}

func (s *letterSession) Data(r io.Reader) error {
	m, err := netmail.ReadMessage(r)
	if err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, m.Body); err != nil {
		return err
	}
	if s.box.take(strings.Trim(m.Header.Get("Message-Id"), "<>"))%61 == 0 {
		return s.conn.Conn().Close()
	}
	return nil
}

func (b *letterBox) run(t *testing.T) (url string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	server := smtp.NewServer(b)
	server.Domain, server.ErrorLog = "mail.example", log.New(io.Discard, "", 0)
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	t.Cleanup(func() {
		require.NoError(t, server.Close())
		require.NoError(t, <-ended)
	})
	return "smtp://" + l.Addr().String() + "?tls=none"
}

// runTexts runs a gateway for text messages that is away every 5th time.
func runTexts(t *testing.T, c *counted) (url string) {
	t.Helper()
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, err := io.Copy(io.Discard, r.Body); err != nil || c.ask(5) {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		c.take(r.Header.Get("Webhook-Id"))
	}))
	t.Cleanup(server.Close)
	return server.URL + "/in"
}

// post is a salon with messages in line, and what receives them.
type post struct {
	t      *testing.T
	server *pg.Server
	store  *store.Store
	demo   *demoSalon
	api    *api.Server
	token  string
	box    letterBox
	texts  counted
	sender string // what a child is told
	visits []api.VisitBody
	mails  map[string]string // visit by Message-ID

	cancelled map[string]bool // visits
	said      bytes.Buffer
}

// newPost opens a salon in a database that is killed like any other.
func newPost(t *testing.T) *post {
	t.Helper()
	p := &post{t: t, server: storetest.Real(t), box: letterBox{counted{taken: map[string]int{}}}, texts: counted{taken: map[string]int{}}, mails: map[string]string{}, cancelled: map[string]bool{}}
	key := filepath.Join(folder(t), "health.key")
	require.NoError(t, store.MakeKeyFile(key))
	seal, err := store.ReadSealer(key)
	require.NoError(t, err)
	require.NoError(t, store.Migrate(t.Context(), p.server.URL()))
	p.store, err = store.Open(t.Context(), p.server.URL(), 4)
	require.NoError(t, err)
	t.Cleanup(p.store.Close)
	p.store.SealWith(seal)
	p.sender = strings.Join([]string{p.server.URL(), p.box.run(t), key}, " ")
	p.demo = &demoSalon{store: p.store, now: time.Now(), services: map[string]store.ServiceRow{}}
	p.demo.row, err = p.store.AddSalon(t.Context(), store.Salon{Name: demoName, Zone: demoZone, Currency: "GBP", Mail: demoMail, Phone: demoPhone})
	require.NoError(t, err)
	p.api = api.New(p.store, "http://127.0.0.1", time.Now)
	r := &running{api: p.api}
	r.reach(true)
	p.tx(func(tx *store.Tx) error {
		if err := p.demo.load(t.Context(), tx); err != nil {
			return err
		}
		row, err := tx.SalonRow(t.Context())
		require.NoError(t, err)
		// No quiet hours, whenever the test runs.
		if _, err := tx.SetMessageRules(t.Context(), row.Version, json.RawMessage(`{"quiet_from": "08:00", "quiet_to": "08:00"}`)); err != nil {
			return err
		}
		_, p.token, err = tx.AddToken(t.Context(), store.Owner, "", "test", nil)
		return err
	})
	p.ask("POST", "/v1/webhook", api.WebhookBody{Address: runTexts(t, &p.texts), Enabled: true}, nil)
	return p
}

func (p *post) tx(f func(*store.Tx) error) {
	p.t.Helper()
	require.NoError(p.t, p.store.InTx(p.t.Context(), p.demo.row.ID, f))
}

// ask sends a request without a network and reads its answer.
func (p *post) ask(method, path string, body, into any, headers ...string) http.Header {
	p.t.Helper()
	doc, err := json.Marshal(body)
	require.NoError(p.t, err)
	r := httptest.NewRequestWithContext(p.t.Context(), method, path, bytes.NewReader(doc))
	r.Header.Set("Authorization", "Bearer "+p.token)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Idempotency-Key", store.NewID())
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	p.api.Handler().ServeHTTP(w, r)
	require.Less(p.t, w.Code, 300, "%s %s: %s", method, path, w.Body)
	if into != nil {
		require.NoError(p.t, json.Unmarshal(w.Body.Bytes(), into))
	}
	return w.Header()
}

// book books a visit of a client of the salon, some days ahead.
func (p *post) book(client string, days int) {
	p.t.Helper()
	cut := p.demo.services["Cut and dry"].ID
	var found api.OpeningsAnswer
	p.ask("POST", "/v1/openings", api.OpeningsRequest{Services: []api.ServiceRequest{{ServiceID: cut}},
		FirstDate: time.Now().AddDate(0, 0, days).Format(time.DateOnly), Limit: 1}, &found)
	require.NotEmpty(p.t, found.Openings)
	o := found.Openings[0]
	var v api.VisitBody
	p.ask("POST", "/v1/visits", api.VisitRequest{ClientID: client, Start: o.Start,
		Services: []api.ServiceRequest{{ServiceID: cut, LeadID: o.LeadID}}}, &v)
	p.visits = append(p.visits, v)
}

// enqueue puts n messages about a visit in line, due at once, instead of its own.
func (p *post) enqueue(v api.VisitBody, n int, mail bool) {
	p.t.Helper()
	p.tx(func(tx *store.Tx) error {
		if err := tx.WithdrawReminders(p.t.Context(), v.ID); err != nil {
			return err
		}
		for range n {
			id := store.NewID() + "@lantern.example"
			_, err := tx.AddReminder(p.t.Context(), store.Reminder{Visit: v.ID, Kind: "confirmation", Due: time.Now(), MessageID: id})
			if err != nil {
				return err
			}
			if mail {
				p.mails[id] = v.ID
			}
		}
		return nil
	})
}

// cancel cancels visits.
func (p *post) cancel(list ...api.VisitBody) {
	p.t.Helper()
	for _, v := range list {
		header := p.ask("GET", "/v1/visits/"+v.ID, nil, nil)
		p.ask("POST", "/v1/visits/"+v.ID+"/cancel", map[string]string{"others": "keep"}, nil, "If-Match", header.Get("ETag"))
		p.cancelled[v.ID] = true
	}
}

// send starts a child that sends what is due.
func (p *post) send() (kill func()) {
	p.t.Helper()
	self, err := os.Executable()
	require.NoError(p.t, err)
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), asSender+"="+p.sender)
	cmd.Stdout, cmd.Stderr = &p.said, &p.said
	require.NoError(p.t, cmd.Start())
	kill = sync.OnceFunc(func() {
		require.NoError(p.t, cmd.Process.Kill())
		_ = cmd.Wait() // killed
	})
	p.t.Cleanup(kill)
	return kill
}

func (p *post) until(what string, done func() bool) {
	p.t.Helper()
	for deadline := time.Now().Add(patience); !done(); time.Sleep(5 * time.Millisecond) {
		require.True(p.t, time.Now().Before(deadline), "it did not come to this: %s", what)
	}
}

// settled waits until no message is open, as long as there are fewer and fewer.
func (p *post) settled() {
	p.t.Helper()
	last, deadline := p.open(), time.Now().Add(patience)
	for ; last > 0; time.Sleep(20 * time.Millisecond) {
		if n := p.open(); n != last {
			last, deadline = n, time.Now().Add(patience)
		}
		require.True(p.t, time.Now().Before(deadline), "%d messages have no end", last)
	}
}

// open counts messages that are waiting or sending, at one moment.
func (p *post) open() (n int) {
	err := p.store.Read(p.t.Context(), p.demo.row.ID, func(tx *store.Tx) error {
		for _, state := range []store.ReminderState{store.Waiting, store.Sending} {
			list, err := tx.Messages(p.t.Context(), store.MessageFilter{State: state, To: time.Now(), Limit: 10000})
			if err != nil {
				return err
			}
			n += len(list)
		}
		return nil
	})
	if errors.Is(err, store.ErrUnavailable) {
		return 1 // for the moment nobody knows
	}
	require.NoError(p.t, err)
	return n
}

// killDatabase ends every process of PostgreSQL at once and waits for the next.
func (p *post) killDatabase() {
	p.t.Helper()
	pid := p.server.PID()
	killEach(familyOf(p.t, pid))
	p.until("another PostgreSQL", func() bool { return p.server.PID() != pid && p.server.PID() != 0 && p.store.Ping(p.t.Context()) == nil })
}

// fate is what the database says of a message.
type fate struct {
	store.Reminder
	attempts []store.Attempt
}

func (p *post) fates() map[string]fate {
	p.t.Helper()
	out := map[string]fate{}
	p.tx(func(tx *store.Tx) error {
		for _, v := range p.visits {
			list, err := tx.RemindersOf(p.t.Context(), v.ID)
			require.NoError(p.t, err)
			ids := make([]string, len(list))
			for i, r := range list {
				ids[i] = r.ID
			}
			tried, err := tx.AttemptsOf(p.t.Context(), ids)
			require.NoError(p.t, err)
			for _, r := range list {
				f := fate{Reminder: r}
				for _, a := range tried {
					if a.Reminder == r.ID {
						f.attempts = append(f.attempts, a)
					}
				}
				out[r.MessageID] = f
			}
		}
		return nil
	})
	return out
}

// mailed and texted are how many visits hear by mail and by text message.
const (
	mailed = 25
	texted = 4
)

// usualKills is how often the sender is killed unless CHAIRBLOCK_CRASH_ROUNDS says more.
const usualKills = 4

// aboutEach is how many messages there are about each visit: 1,160 about all, or 2,900
// when the sender is killed twenty times, so that there are some left for each.
func aboutEach(t *testing.T) int {
	t.Helper()
	return max(40, 5*rounds(t, usualKills))
}

// fill books visits and puts the messages about them in line, texts first.
func (p *post) fill() {
	p.t.Helper()
	for _, c := range p.demo.clients {
		texts := len(p.visits) >= mailed
		if len(p.visits) < mailed+texted && (c.ContactBy == "mail" && !texts || c.ContactBy == "text" && texts) {
			p.book(c.ID, 2+len(p.visits)%9)
		}
	}
	require.Len(p.t, p.visits, mailed+texted)
	began, each := time.Now(), aboutEach(p.t)
	for i := range p.visits {
		n := (i + mailed) % (mailed + texted)
		p.enqueue(p.visits[n], each, n < mailed)
	}
	p.t.Logf("%.0f messages put in line a second", float64((mailed+texted)*each)/time.Since(began).Seconds())
}

func (p *post) received() int { return p.box.count() + p.texts.count() }

// sendAndKill has messages sent until some have come, does something meanwhile,
// and kills the sender.
func (p *post) sendAndKill(meanwhile func()) {
	p.t.Helper()
	kill := p.send()
	some := func() {
		before := p.received()
		p.until("messages come", func() bool { return p.received() > before+20+rand.IntN(60) || p.open() == 0 })
	}
	some()
	if meanwhile != nil {
		meanwhile()
		some()
	}
	kill()
}

func TestNoMessageIsLostHoweverOftenItsSenderIsKilled(t *testing.T) {
	t.Parallel()
	p := newPost(t)
	p.fill()
	each := aboutEach(t)
	require.Len(t, p.mails, mailed*each)
	never := []api.VisitBody{p.visits[0], p.visits[mailed-1]}
	p.cancel(never...)
	began := time.Now()
	for round := range rounds(t, usualKills) {
		p.sendAndKill(map[int]func(){2: p.killDatabase, 3: func() { p.cancel(p.visits[1:5]...) }}[round])
	}
	t.Logf("killed after %.1f s", time.Since(began).Seconds())
	left := p.open()
	p.send()
	p.settled()
	t.Logf("%d were left after the last kill; all is said and done after %.1f s", left, time.Since(began).Seconds())

	outcomes, texts := map[store.AttemptOutcome]int{}, 0
	taken := map[store.ReminderState]int{} // of visits that were cancelled meanwhile
	for id, f := range p.fates() {
		if p.mails[id] != "" && p.cancelled[f.Visit] {
			taken[f.State]++
		}
		p.judge(id, f)
		for _, a := range f.attempts {
			outcomes[*a.Outcome]++
		}
		if f.State == store.Sent && f.Channel == store.ByWebhook {
			texts++
		}
	}
	for id := range p.box.taken {
		for _, v := range never {
			require.NotEqual(t, v.ID, p.mails[id], "it was cancelled before anything was sent")
		}
	}
	require.Equal(t, texted*each, texts)
	require.Len(t, p.texts.taken, texted*each, "each text by its id")
	t.Logf("%d mails and %d texts came more than once, each under its own id; attempts: %v", p.box.twice(), p.texts.twice(), outcomes)
	t.Logf("mails of cancelled visits: %v", taken)
	for _, secret := range []string{"@example.org", "+4477009", "whsec_"} {
		require.NotContains(t, p.said.String(), secret)
	}
}

// judge demands that what became of a message fits what came of it.
func (p *post) judge(id string, f fate) {
	p.t.Helper()
	times, byMail := p.box.taken[id], p.mails[id] != ""
	for _, a := range f.attempts {
		require.NotNil(p.t, a.Outcome, "every attempt has an end")
		if f.State == store.Withdrawn {
			require.False(p.t, a.Started.After(*f.Done), "nothing is begun after the visit was cancelled")
		}
	}
	require.GreaterOrEqual(p.t, len(f.attempts), times, "each time it came was an attempt")
	switch {
	case byMail && p.cancelled[f.Visit]:
		require.Contains(p.t, []store.ReminderState{store.Sent, store.Withdrawn}, f.State)
	case byMail:
		require.Equal(p.t, store.Sent, f.State, "%s: %s", f.ID, f.Problem)
	}
	if byMail && f.State == store.Sent {
		require.Positive(p.t, times, "it is lost")
	}
}
