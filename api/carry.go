package api

import (
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/labstack/echo/v4"
)

// mostCarried is how many bytes of a form are carried through a page that asks who
// somebody is. Notes of a visit are at most a few thousand characters long.
const mostCarried = 64 << 10

// Carried is a form that could not be carried out because nobody was signed in or
// nobody had said who she is. The page that asks carries it along in hidden fields;
// afterwards a person sends it again by a press.
type Carried struct {
	To     string // the address that the form goes to, or that was wanted; "" for none
	Fields []CarriedField
	// Lost says why what was typed could not be kept, "" when nothing was lost.
	Lost string
}

// CarriedField is one value of a form.
type CarriedField struct{ Name, Value string }

// HasForm reports whether there is a form to send again.
func (k Carried) HasForm() bool { return len(k.Fields) > 0 }

// Hidden are the fields that carry the form through another one.
func (k Carried) Hidden() []CarriedField {
	out := []CarriedField{{carriedTo, k.To}}
	for _, f := range k.Fields {
		out = append(out, CarriedField{carriedPrefix + f.Name, f.Value})
	}
	return out
}

// Names of the hidden fields; a form's own names never hold a colon.
const (
	carriedTo     = "carried"
	carriedPrefix = "carried:"
)

// carry takes the form of a request along. Passwords stay behind, and so do files.
func carry(c echo.Context) Carried {
	k := Carried{To: OwnPath(c.Request().RequestURI)}
	if _, err := c.FormParams(); err != nil { // reads the body
		k.Lost = "The form was too long to be kept. Go back to see it once more."
		return k
	}
	if c.Request().MultipartForm != nil && len(c.Request().MultipartForm.File) > 0 {
		k.Lost = "The file has to be chosen once more."
	}
	return k.with(c.Request().PostForm, func(name string) (string, bool) {
		return name, !strings.Contains(strings.ToLower(name), "password")
	})
}

// ReadCarried is the form that a page carries along in hidden fields.
func ReadCarried(form url.Values) Carried {
	k := Carried{To: OwnPath(form.Get(carriedTo))}
	return k.with(form, func(name string) (string, bool) { return strings.CutPrefix(name, carriedPrefix) })
}

func (k Carried) with(form url.Values, named func(string) (string, bool)) Carried {
	names := make([]string, 0, len(form))
	for name := range form {
		names = append(names, name)
	}
	slices.Sort(names)
	size := 0
	for _, field := range names {
		name, ok := named(field)
		if !ok {
			continue
		}
		for _, v := range form[field] {
			size += len(name) + len(v)
			k.Fields = append(k.Fields, CarriedField{name, v})
		}
	}
	if size > mostCarried {
		k.Fields, k.Lost = nil, "The form was too long to be kept. Go back to see it once more."
	}
	return k
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
	if slices.Contains([]string{"sign-in", "sign-out", "sign-out-everywhere", "open", "code", "v1"}, first) {
		return ""
	}
	return address
}
