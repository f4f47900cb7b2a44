package read

import (
	"bytes"
	"strconv"
	"strings"
)

// component is a part of a calendar file, with what is wanted of it.
type component struct {
	name     string // in capitals
	line     int
	uid      string // value of the first UID: looked for at every fault
	named    bool   // a UID was read
	props    []property
	children []*component
}

// first returns the component's first property of that name, or nil.
func (c *component) first(name string) *property {
	for i := range c.props {
		if c.props[i].name == name {
			return &c.props[i]
		}
	}
	return nil
}

func (c *component) text(name string) string {
	if p := c.first(name); p != nil {
		return p.value
	}
	return ""
}

func (c *component) upper(name string) string { return strings.ToUpper(c.text(name)) }

// kept are the components that are looked into; others are counted only.
var kept = set("VCALENDAR", "VEVENT", "VFREEBUSY", "VTIMEZONE", "STANDARD", "DAYLIGHT")

// topLevel are the components that stand in a VCALENDAR and in nothing else.
// One that begins inside another of them shows that an END is missing.
var topLevel = set("VEVENT", "VTODO", "VJOURNAL", "VFREEBUSY", "VTIMEZONE", "VAVAILABILITY")

// tree builds components line by line, without recursion.
type tree struct {
	limits Limits
	log    *problems
	roots  []*component
	open   []*component // from the VCALENDAR inwards
	deep   int          // components open beyond the limit of depth
	begun  int          // components in all
	props  int          // properties in all
	strays bool         // a part outside of any VCALENDAR was told
}

// components returns every VCALENDAR of a text. Parts that stand outside of
// one are put into one.
//
// It returns a *scheduling.InvalidError when there is no component at all or
// more than the limits allow.
func components(text []byte, limits Limits, log *problems) ([]*component, error) {
	t := &tree{limits: limits, log: log}
	for l := (lines{rest: text, number: 1, limit: limits.Line}); ; {
		line, ok := l.next()
		if !ok {
			break
		}
		if err := t.take(line); err != nil {
			return nil, err
		}
	}
	for i := len(t.open) - 1; i >= 0; i-- {
		t.unclosed(t.open[i])
	}
	if len(t.roots) == 0 {
		return nil, notCalendar("holds no calendar")
	}
	return t.roots, nil
}

func (t *tree) take(l line) error {
	name, rest := propertyName(l.text)
	switch name {
	case "BEGIN":
		t.begun++
		if t.begun > t.limits.Components {
			return tooMuch("components", t.limits.Components)
		}
		t.begin(edge(rest), l.number)
		return nil
	case "END":
		t.end(edge(rest), l.number)
		return nil
	case "":
		t.log.badLine(l.number, t.uid(), t.where(""), "has a line that is not a name, a colon and a value; it is skipped")
		return nil
	}
	t.props++
	if t.props > t.limits.Properties {
		return tooMuch("properties", t.limits.Properties)
	}
	if len(t.open) > 0 && t.deep == 0 && wanted[name] && kept[t.inner().name] {
		t.property(name, rest, l)
	}
	return nil
}

// edge is the name after BEGIN or END; "part" stands for one without a name.
func edge(rest []byte) string {
	_, value, found := bytes.Cut(rest, []byte(":"))
	name := strings.ToUpper(short(strings.TrimSpace(valid(value)), 100))
	if !found || name == "" {
		return "part"
	}
	return name
}

func (t *tree) property(name string, rest []byte, l line) {
	if l.long {
		t.log.add(l.number, t.uid(), t.where(name), "is longer than "+kilobytes(t.limits.Line)+" and is skipped")
		return
	}
	params, value, wrong := parameters(rest, t.limits.Parameter)
	if wrong != "" {
		t.log.add(l.number, t.uid(), t.where(name), wrong)
		return
	}
	c := t.inner()
	p := property{name, params, valid(value), l.number}.mended()
	if name == "UID" && !c.named {
		c.uid, c.named = p.value, true
	}
	c.props = append(c.props, p)
}

func kilobytes(n int) string { return strconv.Itoa(n>>10) + " KB" }

func (t *tree) inner() *component { return t.open[len(t.open)-1] }

func (t *tree) uid() string {
	if len(t.open) == 0 {
		return ""
	}
	return t.inner().uid
}

func (t *tree) where(name string) string {
	if len(t.open) == 0 {
		return strings.TrimSpace("calendar " + name)
	}
	return strings.TrimSpace(t.inner().name + " " + name)
}

func (t *tree) begin(name string, line int) {
	switch {
	case name == "VCALENDAR":
		t.deep = 0
		t.closeTo(0)
	case topLevel[name]:
		t.deep = 0
		if len(t.open) == 0 || t.open[0].name != "VCALENDAR" {
			t.closeTo(0)
			t.stray(name, line)
		}
		t.closeTo(1)
	}
	if t.deep > 0 || len(t.open) >= t.limits.Depth {
		if t.deep++; t.deep == 1 {
			t.log.addf(line, t.uid(), t.where(""), "holds components more than %d deep; they are skipped", t.limits.Depth)
		}
		return
	}
	c := &component{name: name, line: line}
	if name == "VCALENDAR" {
		t.roots = append(t.roots, c)
	} else if len(t.open) == 0 {
		// Not ours, such as a VCARD.
	} else if parent := t.inner(); kept[parent.name] && kept[name] {
		parent.children = append(parent.children, c)
	}
	t.open = append(t.open, c)
}

// stray makes a calendar for a part that stands outside of one.
func (t *tree) stray(name string, line int) {
	if !t.strays {
		t.strays = true
		t.log.add(line, "", name, "stands outside of a VCALENDAR; it is read all the same")
	}
	if len(t.roots) == 0 {
		t.roots = append(t.roots, &component{name: "VCALENDAR", line: line})
	}
	t.open = append(t.open, t.roots[len(t.roots)-1])
}

// closeTo closes components until depth are open.
func (t *tree) closeTo(depth int) {
	for len(t.open) > depth {
		t.unclosed(t.inner())
		t.open = t.open[:len(t.open)-1]
	}
}

func (t *tree) unclosed(c *component) {
	if !t.strays || c.name != "VCALENDAR" {
		t.log.add(c.line, c.uid, c.name, "has no END; it is read up to where the next part begins")
	}
}

func (t *tree) end(name string, line int) {
	if t.deep > 0 {
		t.deep--
		return
	}
	for i := len(t.open) - 1; i >= 0; i-- {
		if t.open[i].name == name {
			t.closeTo(i + 1)
			t.open = t.open[:i]
			return
		}
	}
	t.log.add(line, t.uid(), t.where(""), "has an END without its BEGIN; it is skipped")
}
