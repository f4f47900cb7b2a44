package owner

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) chairTimePages() {
	p.get("/set-up/chair-time", "set-chair-time-settings", (*visit).chairTimeSheet)
	p.post("/set-up/chair-time", "set-chair-time-settings", (*visit).changeChairTime, (*visit).chairTimeSheet)
	p.post("/set-up/chair-time/reset", "reset-chair-time-settings", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodPost, "/chair-time-settings/reset", api.ResetBody{}, nil)
		return answer{to: "/set-up/chair-time?done=reset"}, err
	}, (*visit).chairTimeSheet)
}

// chairTimeGroups are the headings of the constants, by the first of each.
var chairTimeGroups = []struct{ first, legend string }{
	{"scalp_area_cm2", "Hair"},
	{"area_nape_share", "Parts of the scalp"},
	{"off_scalp_cm", "What is treated"},
	{"talk_new_minutes", "Consultation, wash, parting and rinses"},
	{"water_per_gram", "Drying"},
	{"apply_parting_low_cm", "Solution"},
	{"neutral_handling_seconds", "Neutralizer"},
	{"process_resistant_minutes", "Processing"},
	{"solution_ml_per_gram", "How much product"},
	{"look_first_minutes", "Looks at the hair"},
	{"exposure_warn_minutes", "How long product may stay on"},
	{"patch_test_hours", "Skin test"},
	{"iron_parting_low_cm", "Iron"},
	{"finish_parting_cm", "Finish"},
	{"care_factor", "Damaged and curly hair, two pairs of hands"},
	{"spread_talk", "How much times differ, and what is promised"},
}

func (v *visit) chairTimeSheet() (*sheet, error) {
	list, tag, err := tagged[api.SettingsBody](v, "/chair-time-settings")
	if err != nil {
		return nil, err
	}
	s := v.sheet("Chair time")
	f := form{ID: "time", Action: "/set-up/chair-time", Hidden: []hidden{version(tag)},
		Text:    []string{"The constants behind every estimate. Change what your own watch tells you; what it does to seven kinds of hair is shown before anything is saved. Booked visits keep their minutes."},
		Buttons: []button{{Text: "See what it does", Name: "do", Value: "look", Main: true}}}
	for _, x := range list.Items {
		for _, g := range chairTimeGroups {
			if g.first == x.Name {
				f.Groups = append(f.Groups, group{Fold: g.legend})
			}
		}
		if len(f.Groups) == 0 {
			f.Groups = append(f.Groups, group{Fold: "Constants"})
		}
		g := &f.Groups[len(f.Groups)-1]
		g.Fields = append(g.Fields, settingField(x))
		g.Open = g.Open || x.Value != x.Default
	}
	reset := press("reset", "/set-up/chair-time/reset", "Set all to their defaults", "", version(tag), key())
	s.Parts = append(s.Parts, part{Forms: []form{f}}, part{Title: "Back to the beginning", Forms: []form{reset}})
	return s, nil
}

func settingField(x api.SettingBody) pages.Field {
	hint := fmt.Sprintf("%s to %s, usually %s. %s", plain(x.Min), plain(x.Max), plain(x.Default), sentence(x.Source))
	label := x.Label
	if x.Unit != "" {
		label += " (" + x.Unit + ")"
	}
	return pages.Number("time-values-"+x.Name, label, hint, plain(x.Value))
}

// changeChairTime shows what other constants do, or saves what was shown.
func (v *visit) changeChairTime() (answer, error) {
	list, _, err := tagged[api.SettingsBody](v, "/chair-time-settings")
	if err != nil {
		return answer{}, err
	}
	var f faults
	own := api.OwnSettings{Values: v.ownConstants("values-", list.Items, &f)}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	if v.form.Get("do") == "save" && v.form.Get("looked") == settingsDrawn(own) {
		_, err := v.ask(http.MethodPut, "/chair-time-settings", own, nil)
		return answer{to: "/set-up/chair-time?done=saved"}, err
	}
	var look api.PreviewBody
	if _, err := v.site.Into(v.ctx, api.Question{Method: http.MethodPost, Path: "/chair-time-settings/preview", Body: own}, &look); err != nil {
		return answer{}, err
	}
	s, err := v.chairTimeSheet()
	if err != nil {
		return answer{}, err
	}
	s.keep("time", v.form, nil, false)
	s.Parts = append([]part{v.chairTimeEffect(look, own)}, s.Parts...)
	return answer{sheet: s}, nil
}

// ownConstants reads those of some constants that differ from their defaults. An
// empty field means the default; what the form does not have stays.
func (v *visit) ownConstants(prefix string, list []api.SettingBody, f *faults) map[string]float64 {
	own := map[string]float64{}
	for _, x := range list {
		field := prefix + x.Name
		y := v.amount(field, f)
		switch {
		case y == nil && v.typed(field) == "" && v.form.Has(v.name(field)): // the default
		case y != nil && *y != x.Default:
			own[x.Name] = *y
		case !v.form.Has(v.name(field)) && x.Value != x.Default:
			own[x.Name] = x.Value
		}
	}
	return own
}

// chairTimeEffect is what a change does to the reference heads, with the button
// that saves it.
func (v *visit) chairTimeEffect(look api.PreviewBody, own api.OwnSettings) part {
	p := part{ID: "effect", Title: "What it does"}
	if len(look.Changes) == 0 {
		p.Text = []string{"Nothing would change."}
		return p
	}
	for _, c := range look.Changes {
		p.List = append(p.List, link{Text: fmt.Sprintf("%s: %s → %s %s", c.Label, plain(c.From), plain(c.To), c.Unit)})
	}
	t := table{Caption: "Seven kinds of hair before and after", Head: append(heads("Hair"), number("Booked now"), number("Then"), number("Difference"),
		number("On average now"), number("Then"), number("Product on first section now"), number("Then"))}
	for _, h := range look.Heads {
		c := cell{Text: h.Name}
		for _, g := range h.Gained {
			c.More += "New: " + g.Text + " "
		}
		for _, l := range h.Lost {
			c.More += "No more: " + l.Text + " "
		}
		t.Rows = append(t.Rows, row{Cells: []cell{c, number(fmt.Sprintf("%d min", h.Before.BlockMinutes)), number(fmt.Sprintf("%d min", h.After.BlockMinutes)),
			number(signed(float64(h.Difference.BlockMinutes))), number(minutesText(h.Before.MeanMinutes)), number(minutesText(h.After.MeanMinutes)),
			number(minutesText(h.Before.BookedExposureMinutes)), number(minutesText(h.After.BookedExposureMinutes))}})
	}
	p.Tables = []table{t}
	p.Text = []string{"No booked visit is hit: each keeps the minutes that it was booked with."}
	f := form{ID: "time", Action: "/set-up/chair-time", Hidden: slices.DeleteFunc(v.carried(), func(h hidden) bool { return h.Name == "looked" }),
		Buttons: []button{{Text: "Save", Name: "do", Value: "save", Main: true}}}
	f.Hidden = append(f.Hidden, hidden{"looked", settingsDrawn(own)})
	p.Forms = []form{f}
	return p
}

func minutesText(m float64) string { return fmt.Sprintf("%.0f min", m) }

// settingsDrawn tells sets of constants apart.
func settingsDrawn(own api.OwnSettings) string {
	h := sha256.New()
	for _, name := range slices.Sorted(maps.Keys(own.Values)) {
		doc, err := json.Marshal(own.Values[name])
		if err != nil {
			return ""
		}
		fmt.Fprintln(h, name, string(doc))
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}
