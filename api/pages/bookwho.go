package pages

import (
	"bytes"
	"fmt"
	"io"
)

// RenderMatches writes the part of the booking page that lists the clients found,
// for a page that looks while somebody types. It returns an error of w, wrapped.
func RenderMatches(w io.Writer, p BookPage) error {
	var buf bytes.Buffer
	err := templates.ExecuteTemplate(&buf, "book-found", newBookView(p))
	if err == nil {
		_, err = w.Write(buf.Bytes())
	}
	if err != nil {
		return fmt.Errorf("pages: render matches: %w", err)
	}
	return nil
}
