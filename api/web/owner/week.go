package owner

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
)

var dayNames = []string{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}

const weekHint = "Such as 09:00–18:00, or 09:00–13:00, 14:00–18:00; empty for none"

// weekFields are seven fields with the windows of each day as text.
func weekFields(id, field string, week []api.WindowBody) []pages.Field {
	var out []pages.Field
	for d, name := range dayNames {
		hint := ""
		if d == 0 {
			hint = weekHint
		}
		out = append(out, pages.Input(fmt.Sprintf("%s-%s-%d", id, field, d+1), name, hint, "text", dayWindows(week, d+1)))
	}
	return out
}

// dayWindows are the windows of a weekday in words.
func dayWindows(week []api.WindowBody, day int) string {
	var out []string
	for _, w := range week {
		if w.Weekday == day {
			out = append(out, w.From+"–"+midnight(w.To))
		}
	}
	return strings.Join(out, ", ")
}

// midnight is the end of a day as people write it.
func midnight(clock string) string {
	if clock == "00:00" {
		return "24:00"
	}
	return clock
}

var aWindow = regexp.MustCompile(`^(\d{1,2})(?:[:.h]?(\d{2}))?\s*(?:-|–|—|to)\s*(\d{1,2})(?:[:.h]?(\d{2}))?$`)

// readDay reads the windows of a day as people type them.
func readDay(text string) (list [][2]string, ok bool) {
	for part := range strings.FieldsFuncSeq(text, func(r rune) bool { return r == ',' || r == ';' }) {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		m := aWindow.FindStringSubmatch(part)
		if m == nil {
			return nil, false
		}
		list = append(list, [2]string{clock(m[1], m[2]), clock(m[3], m[4])})
	}
	return list, true
}

func clock(hours, minutes string) string {
	h, _ := strconv.Atoi(hours)
	m, _ := strconv.Atoi(minutes)
	return fmt.Sprintf("%02d:%02d", h, m)
}

// readWeek reads seven fields of the form that was sent; pointer is where the
// interface has the list.
func (v *visit) readWeek(field, pointer string, f *faults) []api.WindowBody {
	out := []api.WindowBody{}
	for d := 1; d <= 7; d++ {
		name := fmt.Sprintf("%s-%d", field, d)
		list, ok := readDay(v.typed(name))
		if !ok {
			f.add(v, name, fmt.Sprintf("%s: “%s” cannot be read. Right is 09:00–18:00, or several with commas between them.", dayNames[d-1], v.typed(name)))
		}
		for _, w := range list {
			v.at[fmt.Sprintf("%s/%d", pointer, len(out))] = v.name(name)
			out = append(out, api.WindowBody{Weekday: d, From: w[0], To: w[1]})
		}
	}
	v.at[pointer] = v.name(field + "-1")
	return out
}

// weekWords says a week in one line: runs of days with the same hours together.
func weekWords(week []api.WindowBody) string {
	var out []string
	for d := 1; d <= 7; {
		hours, last := dayWindows(week, d), d
		for last < 7 && dayWindows(week, last+1) == hours {
			last++
		}
		if hours != "" {
			out = append(out, days(d, last)+" "+hours)
		}
		d = last + 1
	}
	if len(out) == 0 {
		return "none"
	}
	return strings.Join(out, "; ")
}

func days(first, last int) string {
	if first == last {
		return dayNames[first-1][:3]
	}
	return dayNames[first-1][:3] + "–" + dayNames[last-1][:3]
}
