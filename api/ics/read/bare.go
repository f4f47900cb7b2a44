package read

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"
)

// personal are properties that Parse reads although they do not say when.
var personal = set("ATTENDEE", "ORGANIZER")

// Bare returns a calendar that says the same as data about when its owner is
// busy, and nothing else: no titles, places, descriptions, people or alarms.
// Names of events and of unknown components are replaced by a hash. Reading it
// gives the same busy times; the problems have other lines.
//
// Bare returns a *scheduling.InvalidError when data is certainly no calendar, or
// so odd that its bare form would be too large to be read again.
func Bare(data []byte) ([]byte, error) {
	text, err := plainText(slices.Clone(data))
	if err != nil {
		return nil, err
	}
	limits := Limits{}.withDefaults()
	var out strings.Builder
	for l := (lines{rest: text, number: 1, limit: limits.Line}); ; {
		line, ok := l.next()
		if out.Len() > limits.Bytes {
			return nil, tooMuch("bytes", limits.Bytes)
		}
		if !ok {
			return []byte(out.String()), nil
		}
		switch name, rest := propertyName(line.text); {
		case name == "BEGIN" || name == "END":
			out.WriteString(name + ":" + bareComponent(edge(rest)) + "\n")
		case wanted[name] && !personal[name] && !line.long:
			bareProperty(&out, name, rest, limits)
		}
	}
}

// bareComponent keeps the names that mean something; which BEGIN an END belongs
// to can still be seen of the others.
func bareComponent(name string) string {
	if name == "" || kept[name] || topLevel[name] || name == "VALARM" {
		return name
	}
	return "X-" + hashed(name)[:8]
}

func bareProperty(out *strings.Builder, name string, rest []byte, limits Limits) {
	params, value, wrong := parameters(rest, limits.Parameter)
	if wrong != "" {
		return
	}
	// Of the methods one alone decides whether anybody is busy.
	if name == "METHOD" && !strings.EqualFold(string(value), "CANCEL") {
		return
	}
	out.WriteString(name)
	for _, p := range params {
		if p.name != "EMAIL" && p.name != "PARTSTAT" {
			out.WriteString(";" + p.name + `="` + quotable.Replace(p.value) + `"`)
		}
	}
	text := valid(value)
	if name == "UID" && text != "" {
		text = hashed(text)
	}
	out.WriteString(":" + text + "\n")
}

// quotable writes what may not stand between quotation marks (RFC 6868 section 3.2).
var quotable = strings.NewReplacer("^", "^^", "\n", "^n", `"`, "^'")

func hashed(s string) string {
	sum := sha256.Sum256([]byte(s))
	return hex.EncodeToString(sum[:12])
}
