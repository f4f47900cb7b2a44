package owner

import (
	"html"
	"regexp"
	"strings"
)

var (
	unseen   = regexp.MustCompile(`(?is)<(head|style|script)\b.*?</(head|style|script)>`)
	breaks   = regexp.MustCompile(`(?i)</(p|div|h[1-6]|li|tr|table|ul)>|<br\s*/?>`)
	anchor   = regexp.MustCompile(`(?is)<a\b[^>]*\bhref="([^"]*)"[^>]*>(.*?)</a>`)
	tag      = regexp.MustCompile(`(?s)<[^>]*>`)
	emptyRun = regexp.MustCompile(`\n\s*\n\s*(\n\s*)*`)
)

// textOfHTML is what a mail of the program says, with the addresses of its links.
// It is for the program's own mails and escapes nothing: its caller shows it as
// text.
func textOfHTML(doc string) string {
	s := unseen.ReplaceAllString(doc, "")
	s = anchor.ReplaceAllString(s, "$2 <$1>")
	s = strings.ReplaceAll(s, " <", " \x00") // of links, not of tags
	s = breaks.ReplaceAllString(s, "\n")
	s = tag.ReplaceAllString(s, "")
	s = html.UnescapeString(strings.ReplaceAll(s, "\x00", "<"))
	return strings.TrimSpace(emptyRun.ReplaceAllString(s, "\n\n"))
}
