package owner

import (
	"embed"
	"html/template"

	"chairblock/api/pages"
	"chairblock/api/web"
)

//go:embed templates/*.tmpl
var files embed.FS

var templates = template.Must(pages.Shared().ParseFS(files, "templates/*.tmpl"))

// sheet is a page of this package: parts one below the other.
type sheet struct {
	Frame pages.Frame
	Trail []link // where it stands below Set-up
	Parts []part
}

// part is a section of a sheet with a heading; what is empty is left out.
type part struct {
	ID, Title string
	Text      []string
	List      []link
	Pre       []string // text that keeps its lines
	Figures   []pages.Figure
	Tables    []table
	Forms     []form
	Links     []link
}

type link struct{ Href, Text, More, Class string }

type table struct {
	Caption string
	Head    []cell
	Rows    []row
}

type row struct {
	Cells []cell
	Forms []form
}

// cell is an entry of a table; Number sets it to the right.
type cell struct {
	Text, More, Href string
	Number           bool
}

// form is what can be sent. The names of its fields begin with its ID and "-".
type form struct {
	ID, Action, Legend string
	Fold               string // is folded away behind these words
	Open               bool   // but not now
	File               bool   // carries a file
	Get                bool   // chooses what is shown, and changes nothing
	Text               []string
	Hidden             []hidden
	Fields             []pages.Field
	Groups             []group
	Buttons            []button
}

type group struct {
	Legend, Fold string
	Open         bool
	Text         []string
	Fields       []pages.Field
	Buttons      []button
}

type hidden struct{ Name, Value string }

// button sends its form; About tells those who cannot see where it stands what it
// is about.
type button struct {
	Text, About, Name, Value, Action string
	Main                             bool
}

// press is a form of one button.
func press(id, action, text, about string, carries ...hidden) form {
	return form{ID: id, Action: action, Hidden: carries, Buttons: []button{{Text: text, About: about}}}
}

func version(tag string) hidden { return hidden{"version", tag} }

// key lets a form that is sent twice have one effect.
func key() hidden { return hidden{"key", web.Key()} }

func heads(words ...string) []cell {
	out := make([]cell, len(words))
	for i, w := range words {
		out[i] = cell{Text: w}
	}
	return out
}

func texts(words ...string) []cell { return heads(words...) }

func number(text string) cell { return cell{Text: text, Number: true} }

// save is the button of most forms.
func save(text string) []button { return []button{{Text: text, Main: true}} }
