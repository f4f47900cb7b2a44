package owner

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/scheduling"
)

// kinds of steps that an estimate knows, which alone may follow the hair.
var hairKinds = []scheduling.StepKind{scheduling.Talk, scheduling.Wash, scheduling.Prep, scheduling.Apply, scheduling.Process,
	scheduling.Apply1, scheduling.Process1, scheduling.Check1, scheduling.Apply2, scheduling.Process2, scheduling.Check2,
	scheduling.Rinse1, scheduling.Dry1, scheduling.Iron, scheduling.Neutral, scheduling.Dwell, scheduling.Rinse2, scheduling.Dry2, scheduling.Finish, scheduling.Close}

// mostSteps is how many steps a service may have, as the interface says.
const mostSteps = 60

func whoWords(st api.StepBody) string {
	switch {
	case st.Who == "nobody":
		return "nobody: the hair works alone"
	case st.Who == "assistant_or_lead":
		return "assistant, or who is in charge"
	case st.Watched:
		return "who is in charge, watching"
	}
	return "who is in charge"
}

func stepMinutes(st api.StepBody) string {
	if st.Formula != "" {
		return "from the hair"
	}
	return fmt.Sprint(st.Minutes)
}

func waitWords(st api.StepBody) string {
	switch {
	case st.WaitMax == 0:
		return "none"
	case st.WaitMin == 0:
		return fmt.Sprintf("up to %d min", st.WaitMax)
	}
	return fmt.Sprintf("%d to %d min", st.WaitMin, st.WaitMax)
}

// stepGroup are the fields of a step, folded away behind what it is in words.
func stepGroup(d api.ServiceBody, i int) group {
	st := d.Steps[i]
	at := func(field string) string { return fmt.Sprintf("service-steps-%d-%s", i, field) }
	about := fmt.Sprintf("%d. %s", i+1, st.Label)
	g := group{Fold: about + " — " + whoWords(st) + ", " + st.Where + ", " + minutesLong(st), Fields: []pages.Field{
		pages.Select(at("kind"), "What kind of step", "", kindValue(st), kindChoices(), "of our own"),
		pages.Input(at("own"), "Word of our own", "Small letters, where the kind is our own", "text", ownKind(st)),
		pages.Input(at("label"), "As screens say it", "", "text", st.Label),
		choose(at("who"), "Who", st.Who, "lead", "the stylist in charge", "assistant_or_lead", "an assistant, or who is in charge", "nobody", "nobody: the hair works alone"),
		choose(at("where"), "Where", st.Where, "chair", "in the chair", "basin", "at the basin", "desk", "at the desk"),
		choose(at("hands"), "Hands", handsOf(st), "on", "on the hair", "watching", "off, but somebody watches", "off", "off"),
		choose(at("formula"), "Minutes", st.Formula, "", "fixed", "head", "from the hair"),
		pages.Number(at("minutes"), "Fixed minutes", "Empty where they come from the hair", fixedMinutes(st)),
		pages.Number(at("wait_min_minutes"), "Wait after it, at least", "Minutes", fmt.Sprint(st.WaitMin)),
		pages.Number(at("wait_max_minutes"), "Wait after it, at most", "Minutes; 0 where product goes on working", fmt.Sprint(st.WaitMax)),
		choose(at("may_overrun"), "May last longer than booked", overrunValue(st), "", "as usual for its kind", "yes", "yes", "no", "no"),
		pages.Tick(at("helper"), "A second pair of hands shares it", "Where there is one", st.Helper),
		pages.Several(at("held_while_waiting"), "Kept while the client waits (none: the chair)", st.Held, options("chair", "the chair", "basin", "the basin", "lead", "the stylist in charge", "nothing", "nothing")),
		pages.Area(at("watch_for"), "Watch for", "A line each, at most six; {off_scalp}, {dry_before_iron}, {dry_damaged}, {neutralizer_works}, {iron_max} and {iron_max_damaged} are filled with your figures", strings.Join(st.WatchFor, "\n")),
	}}
	for _, b := range [][2]string{{"up", "Move up"}, {"down", "Move down"}, {"add", "Add a step after it"}, {"remove", "Remove"}} {
		g.Buttons = append(g.Buttons, button{Text: b[1], About: about, Name: "do", Value: fmt.Sprintf("%s-%d", b[0], i)})
	}
	return g
}

func minutesLong(st api.StepBody) string {
	if st.Formula != "" {
		return "minutes from the hair"
	}
	return fmt.Sprintf("%d min", st.Minutes)
}

func fixedMinutes(st api.StepBody) string {
	if st.Minutes == 0 {
		return ""
	}
	return fmt.Sprint(st.Minutes)
}

func kindChoices() []pages.Option {
	var out []pages.Option
	for _, k := range hairKinds {
		out = append(out, pages.Option{ID: string(k), Name: k.Words()})
	}
	return out
}

func kindValue(st api.StepBody) string {
	if slices.Contains(hairKinds, scheduling.StepKind(st.Kind)) {
		return st.Kind
	}
	return ""
}

func ownKind(st api.StepBody) string {
	if kindValue(st) == "" {
		return st.Kind
	}
	return ""
}

func handsOf(st api.StepBody) string {
	switch {
	case st.HandsOn:
		return "on"
	case st.Watched:
		return "watching"
	}
	return "off"
}

func overrunValue(st api.StepBody) string {
	switch {
	case st.MayOverrun == nil:
		return ""
	case *st.MayOverrun:
		return "yes"
	}
	return "no"
}

// draft is the service as the form that was sent has it; x is how it stands.
func (v *visit) draft(x api.ServiceBody, f *faults) api.ServiceBody {
	d := x
	d.Name, d.Chemical, d.Aftercare, d.Retouch = v.typed("name"), v.ticked("chemical"), v.ticked("aftercare"), v.ticked("retouch")
	d.Skill = strings.ReplaceAll(strings.ToLower(v.typed("skill")), " ", "_")
	d.Clear = v.count("clear_minutes", f)
	d.Families = []string{}
	for k := range strings.SplitSeq(v.typed("families"), ",") {
		if k = strings.TrimSpace(k); k != "" {
			v.at[fmt.Sprintf("/service/families/%d", len(d.Families))] = v.name("families")
			d.Families = append(d.Families, k)
		}
	}
	n, err := strconv.Atoi(v.form.Get("steps"))
	if err != nil || n < 1 {
		n = len(x.Steps)
	}
	d.Steps = nil
	for i := range min(n, mostSteps) {
		d.Steps = append(d.Steps, v.step(i, f))
	}
	v.price(&d, f)
	v.takes(&d, f)
	d.Cautions, d.MadeAt, d.ID, d.Version, d.NeedsHair = nil, nil, "", 0, false
	return d
}

func (v *visit) step(i int, f *faults) api.StepBody {
	at := func(field string) string { return fmt.Sprintf("steps-%d-%s", i, field) }
	st := api.StepBody{Kind: v.typed(at("kind")), Label: v.typed(at("label")), Who: v.typed(at("who")), Where: v.typed(at("where")),
		Formula: v.typed(at("formula")), Minutes: orZero(v.count(at("minutes"), f)), WaitMin: orZero(v.count(at("wait_min_minutes"), f)),
		WaitMax: orZero(v.count(at("wait_max_minutes"), f)), Helper: v.ticked(at("helper")), Held: v.list(at("held_while_waiting")), WatchFor: []string{}}
	if st.Kind == "" {
		st.Kind = strings.ReplaceAll(strings.ToLower(v.typed(at("own"))), " ", "_")
		v.at[fmt.Sprintf("/service/steps/%d/kind", i)] = v.name(at("own"))
	}
	hands := v.typed(at("hands"))
	st.HandsOn, st.Watched = hands == "on", hands == "watching"
	for _, about := range []string{"hands_on", "watched"} {
		v.at[fmt.Sprintf("/service/steps/%d/%s", i, about)] = v.name(at("hands"))
	}
	switch v.typed(at("may_overrun")) {
	case "yes":
		st.MayOverrun = new(true)
	case "no":
		st.MayOverrun = new(false)
	}
	for line := range strings.Lines(v.typed(at("watch_for"))) {
		if line = strings.TrimSpace(line); line != "" {
			st.WatchFor = append(st.WatchFor, line)
		}
	}
	return st
}

// serviceFields lets pointers of the preview and of the change lead to the same
// fields.
func (v *visit) serviceFields(d api.ServiceBody) {
	for field := range v.form {
		if plain, ours := strings.CutPrefix(field, "service-"); ours {
			pointer := "/" + strings.ReplaceAll(plain, "-", "/")
			for _, p := range []string{pointer, "/service" + pointer} {
				if v.at[p] == "" {
					v.at[p] = field
				}
			}
		}
	}
	first := v.name("steps-0-label")
	v.at["/service/steps"], v.at["/steps"] = first, first
	for i := range d.Steps {
		at := v.name(fmt.Sprintf("steps-%d-label", i))
		v.at[fmt.Sprintf("/service/steps/%d", i)], v.at[fmt.Sprintf("/steps/%d", i)] = at, at
	}
	for pointer, name := range v.at {
		if plain, is := strings.CutPrefix(pointer, "/service"); is && v.at[plain] == "" {
			v.at[plain] = name
		}
	}
}

// drawn tells drafts apart.
func drawn(d api.ServiceBody) string {
	doc, err := json.Marshal(d)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(doc)
	return hex.EncodeToString(sum[:12])
}
