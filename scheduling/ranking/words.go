package ranking

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"chairblock/scheduling/openings"
)

// Ask is a stretch for which somebody who has no role in the visit is asked.
type Ask struct {
	Kind openings.UnitKind
	Only bool // the shop has one of the kind
	At   []openings.Minute
}

// Limits of what is worth saying, in minutes (judgement).
const (
	soonClosing = 60
	fewTimes    = 3
)

// describe writes the result for c down.
func (r *ranker) describe(c *candidate) Ranked {
	out := Ranked{Start: c.start, End: c.end, Schedule: r.visit.schedule(r.shop.Units, &c.placed), Parts: c.parts,
		Costs: r.in.Weights.Costs(c.parts), Cost: c.cost, Room: r.roomBeside(c), Asks: r.asks(c)}
	if c.lead != nobody {
		out.Lead = r.shop.Units[c.lead].ID
	}
	f := r.view(c.day)
	if run, ok := f[len(f)-1].run(c.start); ok {
		out.Closing = run.To - c.end
	}
	return out
}

// roomBeside counts what the day of c holds before and after.
func (r *ranker) roomBeside(c *candidate) []Room {
	if len(r.in.Mix) == 0 {
		return nil
	}
	w := r.in.Days[c.day].Span
	r.uses = r.visit.uses(r.uses[:0], &c.placed)
	r.room.without(c.day, w, r.visit, r.uses, r.count)
	day := r.room.day(c.day, w)
	out := make([]Room, len(r.in.Mix))
	for k, s := range r.in.Mix {
		out[k] = Room{Name: s.Name, Plural: s.Plural, Before: day.counts[k], After: r.count[k]}
		if out[k].Plural == "" {
			out[k].Plural = s.Name + "s"
		}
		if r.count[k] > 0 {
			continue
		}
		r.room.bench.reset(day.base)
		before := r.room.fitsAlone(day, k)
		for _, u := range r.uses {
			r.room.bench.block(u, r.visit.clear[u.unit])
		}
		out[k].Full = before && !r.room.fitsAlone(day, k)
	}
	return out
}

// asks lists by kind when people without a role are asked.
func (r *ranker) asks(c *candidate) []Ask {
	var out []Ask
	until := map[int32]minute{} // when the stretch of a unit ends
	for i := range r.visit.phases {
		for _, u := range r.visit.poolOf(&c.placed, i) {
			kind := r.shop.Units[u].Kind
			if kind != openings.Assistant && kind != openings.Stylist || slices.Contains(c.way, u) {
				continue
			}
			at := c.at[i]
			to, known := until[u]
			until[u] = at + r.visit.phases[i].minutes
			if known && to == at {
				continue
			}
			k := slices.IndexFunc(out, func(a Ask) bool { return a.Kind == kind })
			if k < 0 {
				k = len(out)
				out = append(out, Ask{Kind: kind, Only: r.countKind(kind) == 1})
			}
			if a := &out[k]; !slices.Contains(a.At, at) {
				a.At = append(a.At, at)
			}
		}
	}
	return out
}

func (r *ranker) countKind(kind openings.UnitKind) int {
	n := 0
	for i := range r.shop.Units {
		if r.shop.Units[i].Kind == kind {
			n++
		}
	}
	return n
}

// Words says in a few words what speaks for and against the opening, such as
// “leaves room for one root colour and two cuts; asks the assistant at 12:05;
// ends 20 min before closing”. clock writes a minute of the horizon as a time of
// day.
func (r *Ranked) Words(clock func(openings.Minute) string) string {
	room, rest := r.RoomWords(), r.OtherWords(clock)
	if room == "" || rest == "" {
		return room + rest
	}
	return room + "; " + rest
}

// OtherWords is Words without RoomWords.
func (r *Ranked) OtherWords(clock func(openings.Minute) string) string {
	var parts []string
	say := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	for _, a := range r.Asks {
		say("%s", a.words(clock))
	}
	if r.Parts.Wish > 0 {
		say("%s from the wished time", length(r.Parts.Wish))
	}
	if r.Parts.OtherLead {
		say("not with the wished stylist")
	}
	if r.Parts.Stay > 0 {
		say("%s of waiting in between", length(r.Parts.Stay))
	}
	switch {
	case r.Costs.Slack == 0:
	case r.Parts.Slack == 0:
		say("nothing to spare if a step runs over")
	default:
		say("%s to spare if a step runs over", length(r.Parts.Slack))
	}
	switch {
	case r.Closing == 0:
		say("ends at closing")
	case r.Closing <= soonClosing:
		say("ends %s before closing", length(r.Closing))
	}
	return strings.Join(parts, "; ")
}

// RoomWords says for what of the usual mix the opening leaves room, "" without a mix.
func (r *Ranked) RoomWords() string {
	var room, full []string
	for _, x := range r.Room {
		switch {
		case x.After == 1:
			room = append(room, "one "+x.Name)
		case x.After > 1:
			room = append(room, number(x.After)+" "+x.Plural)
		case x.Full:
			full = append(full, x.Name)
		}
	}
	var out []string
	if len(room) > 0 {
		out = append(out, "leaves room for "+list(room, "and"))
	}
	if len(full) > 0 {
		s := "leaves no room for another " + list(full, "or")
		if len(out) > 0 {
			s = "none for another " + list(full, "or")
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ")
}

func (a *Ask) words(clock func(openings.Minute) string) string {
	who := string(a.Kind)
	switch {
	case a.Kind == openings.Stylist:
		who = "another stylist"
	case a.Only:
		who = "the " + who
	default:
		who = "an " + who
	}
	if n := len(a.At); n > fewTimes {
		return fmt.Sprintf("asks %s %s times, first at %s", who, number(n), clock(a.At[0]))
	}
	times := make([]string, len(a.At))
	for i, m := range a.At {
		times[i] = clock(m)
	}
	return "asks " + who + " at " + list(times, "and")
}

var numbers = [...]string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

func number(n int) string {
	if n < len(numbers) {
		return numbers[n]
	}
	return strconv.Itoa(n)
}

// list joins items as a sentence does.
func list(items []string, word string) string {
	if len(items) < 2 {
		return strings.Join(items, "")
	}
	last := len(items) - 1
	return strings.Join(items[:last], ", ") + " " + word + " " + items[last]
}

// length writes minutes, from two hours on with hours.
func length(m openings.Minute) string {
	switch {
	case m < 120:
		return fmt.Sprintf("%d min", m)
	case m%60 == 0:
		return fmt.Sprintf("%d h", m/60)
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}
