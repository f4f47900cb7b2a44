package pages

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Everything is what is kept about a client, to be read without this program.
type Everything struct {
	Name, Salon string
	Made        time.Time
	Document    []byte // JSON: an object whose lists are the sections
}

// EverythingPart is a named part of what is kept: words, parts below, or a list of
// either.
type EverythingPart struct {
	Label string
	Words string
	Parts []EverythingPart // below
	Items []EverythingPart // of a list, without labels
}

// everythingView is the page in parts: what stands alone, then a section each.
type everythingView struct {
	Everything
	Alone, Sections []EverythingPart
}

// RenderEverything writes the page. It stands alone, without style sheets or pictures
// of the service, and leaves out ids and what is empty: both are in Document. It
// returns an error where that is no object.
func RenderEverything(w io.Writer, e Everything) error {
	d := json.NewDecoder(bytes.NewReader(e.Document))
	d.UseNumber()
	whole, err := readEverything(d, "")
	if err != nil {
		return fmt.Errorf("pages: everything: %w", err)
	}
	v := everythingView{Everything: e}
	for _, p := range whole.Parts {
		switch {
		case p.Words == "":
			v.Sections = append(v.Sections, p)
		case p.Label == fieldWords("left_out"): // the rest stands above
			v.Alone = append(v.Alone, p)
		}
	}
	var out bytes.Buffer
	if err := templates.ExecuteTemplate(&out, "everything", v); err != nil {
		return fmt.Errorf("pages: everything: %w", err)
	}
	_, err = out.WriteTo(w)
	return err
}

// readEverything reads one value, as that of a field.
func readEverything(d *json.Decoder, field string) (p EverythingPart, err error) {
	p.Label = fieldWords(field)
	token, err := d.Token()
	if err != nil {
		return p, err
	}
	switch x := token.(type) {
	case json.Delim:
		for d.More() {
			name := field
			if x == '{' {
				if token, err = d.Token(); err != nil {
					return p, err
				}
				name, _ = token.(string)
			}
			below, err := readEverything(d, name)
			switch {
			case err != nil:
				return p, err
			case below.empty() || isID.MatchString(name):
			case x == '{':
				p.Parts = append(p.Parts, below)
			default:
				p.Items = append(p.Items, below)
			}
		}
		_, err = d.Token()
	case string:
		p.Words = valueWords(x)
	case json.Number:
		p.Words = x.String()
		if cents, err := strconv.ParseInt(p.Words, 10, 64); err == nil && strings.HasSuffix(field, "_cents") {
			p.Words = fmt.Sprintf("%d.%02d", cents/100, max(cents, -cents)%100)
		}
	case bool:
		p.Words = map[bool]string{true: "yes", false: "no"}[x]
	}
	return p, err
}

// Flat reports whether there are words only below, which stand in one line.
func (p EverythingPart) Flat() bool {
	return len(p.Items) == 0 && !slices.ContainsFunc(p.Parts, func(x EverythingPart) bool { return x.Words == "" })
}

func (p EverythingPart) empty() bool { return p.Words == "" && len(p.Parts)+len(p.Items) == 0 }

var (
	isID   = regexp.MustCompile(`^(id|.*_ids?|version|.*_version|sequence)$`)
	isEnum = regexp.MustCompile(`^[a-z]+(_[a-z]+)+$`)
)

// fieldWords say the name of a field.
func fieldWords(name string) string {
	name = strings.TrimSuffix(strings.TrimSuffix(name, "_cents"), "_at")
	return Capital(strings.ReplaceAll(name, "_", " "))
}

// valueWords say a moment or a day as people do, and a name of something in words.
func valueWords(text string) string {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t.Format("Mon 2 January 2006 15:04")
	}
	if t, err := time.Parse(time.DateOnly, text); err == nil {
		return t.Format("Mon 2 January 2006")
	}
	if isEnum.MatchString(text) {
		return strings.ReplaceAll(text, "_", " ")
	}
	return Clean(text)
}
