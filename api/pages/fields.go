package pages

import (
	"slices"
	"strings"
)

// Field is one control of a form, drawn by the template "field".
type Field struct {
	Name, Label, Hint, Error string
	Kind                     string // "select", "tick", "ticks", "area" or the type of an input
	Mode                     string // inputmode
	Auto                     string // autocomplete
	Value                    string
	Checked                  bool
	Options                  []Choice
	EmptyText                string // first entry of a select, "" for none
	Class                    string
	Focus                    bool // it has the focus when the page is opened
	Most                     int  // how many characters it takes, 0 for any number
}

// Choice is one entry of a select or one of several boxes.
type Choice struct {
	Value, Text, Class string
	Chosen             bool
}

// Described lists the ids that explain the field, for aria-describedby.
func (f Field) Described() string {
	var ids []string
	if f.Hint != "" {
		ids = append(ids, "h-"+f.Name)
	}
	if f.Error != "" {
		ids = append(ids, "e-"+f.Name)
	}
	return strings.Join(ids, " ")
}

// Input is a control for one line of text; kind is the type of the input, such as
// "text", "tel", "email", "date", "time" or "password".
func Input(name, label, hint, kind, value string) Field {
	return Field{Name: name, Label: label, Hint: hint, Kind: kind, Value: value, Auto: "off"}
}

// Number is a text field with a keyboard for numbers: unlike a number field it
// keeps what was typed when that is not a number.
func Number(name, label, hint, value string) Field {
	f := Input(name, label, hint, "text", value)
	f.Mode = "decimal"
	return f
}

// Tick is a box to tick.
func Tick(name, label, hint string, checked bool) Field {
	return Field{Name: name, Label: label, Hint: hint, Kind: "tick", Checked: checked}
}

// Select is a list to choose from. A value that is not in the list, for example of
// somebody who has left, is kept as an entry of its own.
func Select(name, label, hint, value string, options []Option, empty string) Field {
	f := Field{Name: name, Label: label, Hint: hint, Kind: "select", Value: value, EmptyText: empty}
	found := value == ""
	for _, o := range options {
		f.Options = append(f.Options, Choice{Value: o.ID, Text: o.Name, Chosen: o.ID == value})
		found = found || o.ID == value
	}
	if !found {
		f.Options = append(f.Options, Choice{Value: value, Text: "as entered: " + value, Chosen: true})
	}
	return f
}

// Several is a group of boxes to tick, of which any number may be.
func Several(name, label string, values []string, options []Option) Field {
	f := Field{Name: name, Label: label, Kind: "ticks"}
	for _, o := range options {
		f.Options = append(f.Options, Choice{Value: o.ID, Text: o.Name, Chosen: slices.Contains(values, o.ID)})
	}
	return f
}

// Area is a control for text of several lines.
func Area(name, label, hint, value string) Field {
	return Field{Name: name, Label: label, Hint: hint, Kind: "area", Value: value}
}

// Wrong gives the field what is wrong with it and what would be right.
func (f Field) Wrong(text string) Field {
	f.Error = text
	return f
}

// WithAuto says what a browser may fill in, as the HTML attribute autocomplete does.
func (f Field) WithAuto(auto string) Field {
	f.Auto = auto
	return f
}

// AtMost lets a browser take so many characters and no more.
func (f Field) AtMost(characters int) Field {
	f.Most = characters
	return f
}
