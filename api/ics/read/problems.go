package read

import (
	"fmt"
	"strings"
	"unicode"
)

// Problem is one thing of a file that was lost or is doubtful. It never says
// what an event is about.
type Problem struct {
	Line  int    // where it begins, from 1; 0 when it concerns the whole file
	UID   string // of the event concerned, cut to 80 characters; may be empty
	Where string // such as "VEVENT DTSTART"
	What  string // in words, a clause whose subject is Where: "has no date, so the event is left out"
}

// String puts the parts into one line.
func (p Problem) String() string {
	var b strings.Builder
	if p.Line > 0 {
		fmt.Fprintf(&b, "line %d: ", p.Line)
	}
	if p.Where != "" {
		b.WriteString(p.Where + " ")
	}
	b.WriteString(p.What)
	if p.UID != "" {
		b.WriteString(" (" + p.UID + ")")
	}
	return b.String()
}

// problems collects up to a limit and counts the rest.
type problems struct {
	told  []Problem
	limit int
	more  int
	// badTo is the last line of the row of unreadable lines that the last
	// problem stands for.
	badTo int
}

func (l *problems) add(line int, uid, where, what string) {
	if len(l.told) >= l.limit {
		l.more++
		return
	}
	l.badTo = 0
	l.told = append(l.told, Problem{Line: line, UID: short(uid, 80), Where: where, What: what})
}

func (l *problems) addf(line int, uid, where, format string, args ...any) {
	l.add(line, uid, where, fmt.Sprintf(format, args...))
}

// badLine tells of a line that is no content line. A row of them, as damaged
// folding leaves behind, is one problem.
func (l *problems) badLine(line int, uid, where, what string) {
	if l.badTo > 0 && len(l.told) > 0 && line <= l.badTo+3 && l.told[len(l.told)-1].What == what {
		l.badTo = line
		return
	}
	n := len(l.told)
	l.add(line, uid, where, what)
	if len(l.told) > n {
		l.badTo = line
	}
}

func (l *problems) list() []Problem {
	if l.more > 0 {
		return append(l.told, Problem{Where: "calendar", What: fmt.Sprintf("has %d more problems", l.more)})
	}
	return l.told
}

// short cuts s to n characters and drops what cannot be printed.
func short(s string, n int) string {
	var b strings.Builder
	for _, r := range s {
		if !unicode.IsPrint(r) {
			continue
		}
		if n--; n < 0 {
			b.WriteRune('…')
			break
		}
		b.WriteRune(r)
	}
	return b.String()
}
