package stylist

import (
	"net/url"
	"slices"
	"strconv"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
)

// factNames are the fields of all facts.
var factNames = []string{"ready", "stretch", "returned", "next_minutes", "product", "strength", "ml", "setting", "unit", "seconds", "passes", "percent", "outcome", "text", "how", "minutes"}

var (
	yesNo    = []pages.Option{{ID: "true", Name: "yes"}, {ID: "false", Name: "no"}}
	outcomes = []pages.Option{{ID: "as_wished", Name: "as wished"}, {ID: "partly", Name: "partly as wished"}, {ID: "uneven", Name: "uneven"},
		{ID: "too_little", Name: "bends came back"}, {ID: "too_much", Name: "limp or flat"}, {ID: "damaged", Name: "rough or snapped hair"}}
	ways3 = []pages.Option{{ID: "said", Name: "said"}, {ID: "printed", Name: "printed"}, {ID: "message", Name: "by message"}}
)

func number(f float64) string {
	if f == 0 {
		return ""
	}
	return strconv.FormatFloat(f, 'f', -1, 64)
}

// factFields are the fields of a fact, with what was typed or as it stands.
func factFields(kind, prefix string, v api.FactValue, form url.Values) []pages.Field {
	at := func(name string) string { return prefix + "-" + name }
	is := func(name, stands string) string {
		if form.Get("prefix") == prefix {
			return form.Get(at(name))
		}
		return stands
	}
	num := func(name, label, hint string, f float64) pages.Field {
		return pages.Number(at(name), label, hint, is(name, number(f)))
	}
	txt := func(name, label, hint, s string) pages.Field {
		return pages.Input(at(name), label, hint, "text", is(name, s))
	}
	when := pages.Input(at("clock"), "When", "left empty: now", "time", is("clock", ""))
	if len(prefix) > 0 && prefix[0] == 'c' && prefix != "check" {
		when.Hint = "left empty: as it stands"
	}
	var out []pages.Field
	switch kind {
	case "check":
		c := api.CheckFact{}
		if v.Check != nil {
			c = *v.Check
		}
		returned := ""
		if c.Returned != nil {
			returned = strconv.FormatBool(*c.Returned)
		}
		out = []pages.Field{pages.Select(at("ready"), "Ready to be rinsed", "", is("ready", strconv.FormatBool(c.Ready)), yesNo, ""),
			num("stretch", "Stretched to how many times its length", "1.0 to 2.5; left empty: not stretched", c.Stretch),
			pages.Select(at("returned"), "Went back to its length", "", is("returned", returned), yesNo, "nobody said"),
			num("next_minutes", "Look again in, minutes", "left empty: as set", float64(c.Next))}
	case "solution", "neutralizer":
		x := api.ProductFact{}
		if v.Solution != nil {
			x = *v.Solution
		}
		if v.Neutralizer != nil {
			x = *v.Neutralizer
		}
		out = []pages.Field{txt("product", "As it says on the bottle", "", x.Product), txt("strength", "Strength", "", x.Strength), num("ml", "How much, ml", "left empty: not measured", x.ML)}
	case "iron":
		x := api.IronFact{}
		if v.Iron != nil {
			x = *v.Iron
		}
		out = []pages.Field{num("setting", "As the iron shows it", "", x.Setting),
			pages.Select(at("unit"), "Unit", "", is("unit", x.Unit), []pages.Option{{ID: "C", Name: "°C"}, {ID: "F", Name: "°F"}}, "the salon's")}
	case "press":
		x := api.PressFact{}
		if v.Press != nil {
			x = *v.Press
		}
		out = []pages.Field{num("seconds", "Seconds on one spot", "", x.Seconds), num("passes", "How often over the same spot", "left empty: once", float64(x.Passes))}
	case "dryness":
		x := api.DrynessFact{}
		if v.Dryness != nil {
			x = *v.Dryness
		}
		out = []pages.Field{num("percent", "How dry, %", "", x.Percent)}
	case "result":
		x := api.ResultFact{}
		if v.Result != nil {
			x = *v.Result
		}
		out = []pages.Field{pages.Select(at("outcome"), "Result", "", is("outcome", x.Outcome), outcomes, "choose"), txt("text", "In a few words", "", x.Text)}
	case "aftercare":
		x := api.AftercareFact{}
		if v.Aftercare != nil {
			x = *v.Aftercare
		}
		how := x.How
		if form.Get("prefix") == prefix {
			how = form[at("how")]
		}
		out = []pages.Field{pages.Several(at("how"), "How it was given", how, ways3), txt("text", "What is special for her", "", x.Text)}
	case "pause":
		x := api.PauseFact{}
		if v.Pause != nil {
			x = *v.Pause
		}
		out = []pages.Field{num("minutes", "Minutes", "", float64(x.Minutes)), txt("text", "In a few words", "", x.Text)}
	case "interruption":
		s := ""
		if v.Interruption != nil {
			s = v.Interruption.Text
		}
		out = []pages.Field{txt("text", "What interrupted the work", "the visit then says nothing of your pace", s)}
	case "reason":
		s := ""
		if v.Reason != nil {
			s = v.Reason.Text
		}
		return []pages.Field{pages.Area(at("text"), "Why it was done so", "", is("text", s))}
	}
	return append(out, when)
}

// readFact makes a fact of what was typed.
func readFact(form url.Values) (api.FactValue, []pages.FieldError) {
	var v api.FactValue
	var wrong []pages.FieldError
	prefix := form.Get("prefix")
	get := func(name string) string { return strings.TrimSpace(form.Get(prefix + "-" + name)) }
	num := func(name string) float64 {
		text := strings.ReplaceAll(get(name), ",", ".")
		if text == "" {
			return 0
		}
		n, err := strconv.ParseFloat(text, 64)
		if err != nil {
			wrong = append(wrong, pages.FieldError{Field: prefix + "-" + name, Text: "This is no number"})
		}
		return n
	}
	whole := func(name string) int {
		n := num(name)
		if n != float64(int(n)) {
			wrong = append(wrong, pages.FieldError{Field: prefix + "-" + name, Text: "Write a whole number"})
		}
		return int(n)
	}
	switch form.Get("kind") {
	case "check":
		v.Check = &api.CheckFact{Ready: get("ready") == "true", Stretch: num("stretch"), Next: whole("next_minutes")}
		if r := get("returned"); r != "" {
			yes := r == "true"
			v.Check.Returned = &yes
		}
	case "solution":
		v.Solution = &api.ProductFact{Product: get("product"), Strength: get("strength"), ML: num("ml")}
	case "neutralizer":
		v.Neutralizer = &api.ProductFact{Product: get("product"), Strength: get("strength"), ML: num("ml")}
	case "iron":
		v.Iron = &api.IronFact{Setting: num("setting"), Unit: get("unit")}
	case "press":
		v.Press = &api.PressFact{Seconds: num("seconds"), Passes: whole("passes")}
	case "dryness":
		v.Dryness = &api.DrynessFact{Percent: num("percent")}
	case "result":
		v.Result = &api.ResultFact{Outcome: get("outcome"), Text: get("text")}
		if v.Result.Outcome == "" {
			wrong = append(wrong, pages.FieldError{Field: prefix + "-outcome", Text: "Choose how it turned out"})
		}
	case "aftercare":
		v.Aftercare = &api.AftercareFact{How: slices.Clone(form[prefix+"-how"]), Text: get("text")}
	case "pause":
		v.Pause = &api.PauseFact{Minutes: whole("minutes"), Text: get("text")}
	case "interruption":
		v.Interruption = &api.InterruptionFact{Text: get("text")}
	case "reason":
		v.Reason = &api.ReasonFact{Flag: form.Get("flag"), FactID: form.Get("fact"), Text: get("text")}
	}
	return v, wrong
}
