package api

import (
	"context"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/labstack/echo/v4"

	"chairblock/store"
)

// How much of a form is carried through a page that asks who somebody is: notes of a
// visit are at most a few thousand characters long, and no form has hundreds of fields
// (judgement). fieldCosts is what a field counts beside its name and value.
const (
	mostCarried       = 64 << 10
	mostCarriedFields = 500
	fieldCosts        = 64
)

// How long a form is carried: for somebody who has to sign in, and for whoever stands
// at a shared screen and says who she is (judgement).
const (
	carriedFor     = 12 * time.Hour
	carriedOnShare = 10 * time.Minute
)

// Carried is a form that could not be carried out because nobody was signed in or
// nobody had said who she is. The page that asks carries it along in a hidden field
// that only we can read; afterwards whoever typed it sends it again by a press.
type Carried struct {
	To   string // the address that was wanted, or to which the form goes; "" for none
	From string // the page on which the form stood, "" when that is not known
	Form bool   // it was a form
	// Fields are what was typed. They are there for whoever typed it alone: see Mine.
	Fields []CarriedField
	// Lost says why what was typed could not be kept, "" when nothing was lost.
	Lost string

	whose  string // who typed it
	until  time.Time
	sealed string
}

// CarriedField is one value of a form.
type CarriedField struct{ Name, Value string }

// sealedForm is a form as it is carried.
type sealedForm struct {
	To     string      `json:"to"`
	From   string      `json:"from"`
	Fields [][2]string `json:"fields"`
	Whose  string      `json:"whose"`
	Until  int64       `json:"until"`
	Lost   string      `json:"lost"`
}

const carriedPurpose = "carried form"

// Hidden are the fields that carry the form, or where somebody wanted to be, through
// another one.
func (k Carried) Hidden() []CarriedField {
	if k.Form {
		return []CarriedField{{carriedForm, k.sealed}}
	}
	return []CarriedField{{carriedTo, k.To}}
}

// Names of the hidden fields.
const (
	carriedTo   = "carried"
	carriedForm = "carried-form"
)

// notCarried are the addresses whose forms are never carried, and why: what is typed
// there lets somebody in somewhere, or tells of a client's health.
var notCarried = []struct {
	at  *regexp.Regexp
	why string
}{
	{regexp.MustCompile(`^/(me|prove|open|code|sign-in|set-up/messages/gateway|my-day/calendar)(/|$)`), "Passwords, codes and secret addresses are not kept. Type them once more afterwards."},
	{regexp.MustCompile(`^/my-day/visits/[^/]+/(told|stop)(/|$)`), "What is about health is not kept while nobody is known to be here. Type it once more afterwards."},
}

// secretFields are the names of fields for passwords and codes, on whatever page.
var secretFields = []string{"old", "again", "code", "code-old", "pin"}

// MayCarry reports whether a field of a form that goes to a path is carried.
func MayCarry(path, field string) bool {
	for _, x := range notCarried {
		if x.at.MatchString(path) {
			return false
		}
	}
	name := strings.ToLower(field)
	return !slices.Contains(secretFields, name) && !strings.Contains(name, "password") && !strings.Contains(name, "secret")
}

// Words for what is not kept.
const (
	lostLength = "The form was too long to be kept. Go back to see it once more."
	lostFile   = "The file has to be chosen once more."
	lostOwner  = "It cannot be told who typed the form, so it was not kept. Go back to see it once more."
)

// carry takes the form of a request along. Passwords stay behind, and so do files and
// forms of which it cannot be told who typed them.
func (s *Server) carry(c echo.Context) Carried {
	r := c.Request()
	k := Carried{Form: true, To: OwnPath(r.RequestURI), From: cameFrom(r), until: s.now().Add(carriedFor)}
	k.whose = s.typist(c)
	if strings.HasPrefix(k.whose, onScreen) {
		k.until = s.now().Add(carriedOnShare)
	}
	for _, x := range notCarried {
		if x.at.MatchString(r.URL.Path) {
			k.Lost = x.why
		}
	}
	switch _, err := c.FormParams(); { // reads the body
	case k.Lost != "":
	case err != nil:
		k.Lost = lostLength
	case k.whose == "":
		k.Lost = lostOwner
	default:
		k.take(r.PostForm, r.URL.Path)
		if r.MultipartForm != nil && len(r.MultipartForm.File) > 0 && k.Lost == "" {
			k.Lost = lostFile
		}
	}
	return s.sealed(c.Request().Context(), k)
}

// take takes the fields of a form.
func (k *Carried) take(form url.Values, path string) {
	names := make([]string, 0, len(form))
	for name := range form {
		names = append(names, name)
	}
	slices.Sort(names)
	size := 0
	for _, name := range names {
		if !MayCarry(path, name) {
			continue
		}
		for _, v := range form[name] {
			size += fieldCosts + len(name) + len(v)
			k.Fields = append(k.Fields, CarriedField{name, v})
		}
	}
	if size > mostCarried || len(k.Fields) > mostCarriedFields {
		k.Fields, k.Lost = nil, lostLength
	}
}

func (s *Server) sealed(ctx context.Context, k Carried) Carried {
	x := sealedForm{To: k.To, From: k.From, Whose: k.whose, Until: k.until.Unix(), Lost: k.Lost}
	for _, f := range k.Fields {
		x.Fields = append(x.Fields, [2]string{f.Name, f.Value})
	}
	var err error
	if k.sealed, err = s.seal.close(ctx, carriedPurpose, x); err != nil {
		k.Fields, k.Lost = nil, "The form could not be kept. Go back to see it once more."
	}
	return k
}

// What somebody who typed a form is called: by her account, or by the shared screen at
// which she stands.
const (
	ofAccount = "account:"
	onScreen  = "screen:"
)

// typist is who typed the form of a request, as far as that can be told: whoever is
// signed in, was until just now, or signed in last in this browser, and at a shared
// screen that waits for somebody whoever stands at it. "" when it cannot.
func (s *Server) typist(c echo.Context) string {
	ctx := c.Request().Context()
	if who := session(ctx); who.Session != "" {
		switch {
		case who.ReadOnly:
			return onScreen + who.Session
		case who.Account != "":
			return ofAccount + who.Account
		}
		return ""
	}
	if token := s.sessionToken(c); token != "" {
		if account, kind, err := s.store.TokenAccount(ctx, keptAs(token)); err == nil {
			if kind == store.SharedScreen || account == "" {
				return ""
			}
			return ofAccount + account
		}
	}
	if k := s.known(c); len(k.People) > 0 {
		return ofAccount + k.People[0].Account
	}
	return ""
}

// cameFrom is the page on which a form stood.
func cameFrom(r *http.Request) string {
	u, err := url.Parse(r.Referer())
	if err != nil || u.Host != r.Host {
		return ""
	}
	return OwnPath(u.RequestURI())
}

// ReadCarried is what a page carries along in hidden fields.
func (s *Server) ReadCarried(c echo.Context, form url.Values) Carried {
	if !form.Has(carriedForm) {
		return Carried{To: OwnPath(form.Get(carriedTo))}
	}
	k := Carried{Form: true, sealed: form.Get(carriedForm)}
	var x sealedForm
	if s.seal.open(c.Request().Context(), carriedPurpose, k.sealed, &x) != nil {
		return Carried{}
	}
	k.To, k.From, k.Lost, k.whose, k.until = x.To, x.From, x.Lost, x.Whose, time.Unix(x.Until, 0)
	for _, f := range x.Fields {
		k.Fields = append(k.Fields, CarriedField{f[0], f[1]})
	}
	return k
}

// Kept reports whether what was typed is there to be sent again.
func (k Carried) Kept() bool { return k.Form && k.To != "" && (k.Lost == "" || k.Lost == lostFile) }

// Mine reports whether somebody typed the form: the person of an account, or whoever
// says who she is on a shared screen, by its session.
func (s *Server) Mine(k Carried, account, screen string) bool {
	if !s.now().Before(k.until) {
		return false
	}
	return account != "" && k.whose == ofAccount+account || screen != "" && k.whose == onScreen+screen
}

// OpensAt reports whether there is a page at an address of this service, and not only
// something that a form does.
func (s *Server) OpensAt(address string) bool {
	path, _, _ := strings.Cut(address, "?")
	if OwnPath(address) == "" {
		return false
	}
	for _, r := range s.echo.Routes() {
		if r.Method == http.MethodGet && matchesRoute(r.Path, path) {
			return true
		}
	}
	return false
}

// matchesRoute reports whether a path is one of a route, whose parts after a colon
// stand for any and whose star for all that follows.
func matchesRoute(route, path string) bool {
	parts, have := strings.Split(route, "/"), strings.Split(path, "/")
	for i, p := range parts {
		switch {
		case p == "*":
			return true
		case i >= len(have), !strings.HasPrefix(p, ":") && p != have[i], strings.HasPrefix(p, ":") && have[i] == "":
			return false
		}
	}
	return len(parts) == len(have)
}

// OwnPath is an address of this service, path and query, to which a browser may be
// sent on, and "" for every other text: another site's address, or a page at which
// people get in and out.
func OwnPath(address string) string {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || u.Fragment != "" || !strings.HasPrefix(address, "/") ||
		strings.HasPrefix(address, "//") || len(address) > 2048 || strings.ContainsAny(address, "\\\r\n\t\x00") || !utf8.ValidString(address) {
		return ""
	}
	if strings.Contains(u.Path, "//") || strings.Contains(u.Path+"/", "/../") || strings.Contains(u.Path+"/", "/./") {
		return "" // where browsers and we might see different pages
	}
	first, _, _ := strings.Cut(strings.TrimPrefix(u.Path, "/"), "/")
	if slices.Contains([]string{"sign-in", "sign-out", "sign-out-everywhere", "open", "code", "prove", "v1"}, first) {
		return ""
	}
	return address
}
