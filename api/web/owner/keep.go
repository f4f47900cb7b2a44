package owner

import (
	"net/url"
	"regexp"
	"slices"
	"strings"

	"chairblock/api/pages"
)

// keep puts what was typed into the form with an id back into its fields, with
// what is wrong with them. now shows beside a field what stands there now, where
// somebody else has changed that in the meantime.
func (s *sheet) keep(id string, typed url.Values, wrong []pages.FieldError, now bool) {
	labels := s.labels(id)
	wrong = slices.Clone(wrong)
	for i := range wrong {
		wrong[i].Text = inWords(wrong[i].Text, id, labels)
	}
	for i := range s.Parts {
		for k := range s.Parts[i].Forms {
			if f := &s.Parts[i].Forms[k]; f.ID == id {
				f.keep(typed, wrong, now)
			}
		}
	}
	s.Frame.Summary = slices.Clone(wrong)
	for i, w := range wrong {
		if label := labels[w.Field]; label != "" && !strings.HasPrefix(w.Text, label) {
			s.Frame.Summary[i].Text = label + ": " + w.Text
		}
	}
}

// labels are what the fields of the form with an id are called on the page, by name.
func (s *sheet) labels(id string) map[string]string {
	out := map[string]string{}
	for _, p := range s.Parts {
		for _, f := range p.Forms {
			if f.ID != id {
				continue
			}
			fields := slices.Clone(f.Fields)
			for _, g := range f.Groups {
				fields = append(fields, g.Fields...)
			}
			for _, x := range fields {
				out[x.Name] = x.Label
			}
		}
	}
	return out
}

// aCode is a name of the interface in a sentence.
var aCode = regexp.MustCompile(`\b[a-z]+(?:_[a-z0-9]+)+\b`)

// inWords replaces names of the interface by what their fields are called on the page.
func inWords(text, id string, labels map[string]string) string {
	return aCode.ReplaceAllStringFunc(text, func(code string) string {
		if label := labels[id+"-"+code]; label != "" {
			return "“" + label + "”"
		}
		return code
	})
}

func (f *form) keep(typed url.Values, wrong []pages.FieldError, now bool) {
	if f.Fold != "" {
		f.Open = true
	}
	for i := range f.Fields {
		kept(&f.Fields[i], typed, wrong, now)
	}
	for g := range f.Groups {
		for i := range f.Groups[g].Fields {
			x := &f.Groups[g].Fields[i]
			kept(x, typed, wrong, now)
			f.Groups[g].Open = f.Groups[g].Open || x.Error != ""
		}
	}
}

// kept is one field with what was typed into it.
func kept(x *pages.Field, typed url.Values, wrong []pages.FieldError, now bool) {
	was := shown(*x)
	switch x.Kind {
	case "tick":
		x.Checked = typed.Get(x.Name) == "true"
	case "ticks":
		for i := range x.Options {
			x.Options[i].Chosen = slices.Contains(typed[x.Name], x.Options[i].Value)
		}
	case "select":
		if typed.Has(x.Name) {
			x.Value = typed.Get(x.Name)
			for i := range x.Options {
				x.Options[i].Chosen = x.Options[i].Value == x.Value
			}
		}
	default:
		if typed.Has(x.Name) {
			x.Value = typed.Get(x.Name)
		}
	}
	if now && was != shown(*x) {
		x.Hint = strings.TrimSpace(x.Hint + " Stands there now: " + was + ".")
	}
	for _, w := range wrong {
		if w.Field == x.Name {
			x.Error = w.Text
		}
	}
}

// shown is what a field says in words.
func shown(x pages.Field) string {
	var out []string
	switch x.Kind {
	case "tick":
		if x.Checked {
			return "yes"
		}
		return "no"
	case "ticks", "select":
		for _, o := range x.Options {
			if o.Chosen {
				out = append(out, o.Text)
			}
		}
	default:
		out = append(out, x.Value)
	}
	if s := strings.Join(out, ", "); s != "" {
		return s
	}
	return "nothing"
}
