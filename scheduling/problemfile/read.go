package problemfile

import (
	"fmt"
	"io"
	"slices"
	"time"

	"chairblock/scheduling"
)

// schema is what every file says about its form.
const schema = "openings/1"

// maxBytes is how long a file may be, in bytes. The longest that was met, sixty
// busy days of ten stylists, has 165 kilobytes; a file is read, checked and
// answered within 64 megabytes.
const maxBytes = 1 << 20

// task is what a file can ask for.
type task struct {
	name    string
	about   string   // in words
	command string   // of chairblock, which answers it
	members []string // of the file, beside those that all tasks have
}

var (
	taskOpenings = task{"T1", "a search for openings", "openings",
		[]string{"premises", "units", "visit", "query", "civil"}}
	taskPacking = task{"T3", "visits to pack into the time that is left", "pack",
		[]string{"premises", "units", "visits", "requests", "links", "objective"}}
	taskDelays = task{"T4", "a day in progress", "delay",
		[]string{"now", "pieces", "links"}}
	tasks = []task{taskOpenings, taskPacking, taskDelays}
)

// read reads a file that asks for want and hands its object to fill, which
// reports what is wrong with it.
func read(r io.Reader, want task, fill func(object)) error {
	data, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return fmt.Errorf("scheduling: read problem: %w", err)
	}
	if len(data) > maxBytes {
		return &scheduling.InvalidError{Problem: "the file is too long", Want: fmt.Sprintf("at most %d bytes", maxBytes)}
	}
	tree, err := parseJSON(data)
	if err != nil {
		return err
	}
	var found report
	if isFor(&found, tree, want) {
		known := append([]string{"schema", "id", "task", "title", "tests", "zone", "origin", "minutes", "expect"}, want.members...)
		if top, ok := found.asObject("", tree, known...); ok {
			fill(top)
		}
	}
	return found.err()
}

// isFor looks at schema and task first, so that a file of another kind is not
// picked to pieces.
func isFor(r *report, tree any, want task) bool {
	top, ok := r.asObject("", tree)
	if !ok {
		return false
	}
	form, name := top.text("schema", true), top.text("task", true)
	if !r.sound() {
		return false
	}
	if form != schema {
		r.addf("schema", schema, "is %q", short(form))
	}
	if name == want.name {
		return r.sound()
	}
	wanted := fmt.Sprintf("%s, %s", want.name, want.about)
	if i := slices.IndexFunc(tasks, func(t task) bool { return t.name == name }); i >= 0 {
		wanted += fmt.Sprintf("; %s, %s, is for chairblock %s", name, tasks[i].about, tasks[i].command)
	}
	r.addf("task", wanted, "is %q", short(name))
	return false
}

// about reads what a file says about itself.
func about(top object) (id, title, zone string, origin time.Time) {
	if at := top.text("origin", false); at != "" {
		var err error
		if origin, err = time.Parse(time.RFC3339, at); err != nil {
			top.addf("origin", "an instant with offset such as 2026-05-12T00:00:00+02:00", "is %q", short(at))
		}
	}
	return top.text("id", false), top.text("title", false), top.text("zone", false), origin
}
