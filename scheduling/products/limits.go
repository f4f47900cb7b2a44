package products

import (
	"fmt"
	"strings"

	"chairblock/scheduling"
)

// Caution is one thing to know about a label. It never approves anything.
type Caution struct {
	Code   string // for programs
	Text   string // for people
	Source string // where the limit is from
}

// reread ends every text about a limit: the figures were read in mirrors and
// summaries.
const reread = "Re-read the current text before you rely on it."

// Sources of the limits.
const (
	annexThio      = "Reg. (EC) 1223/2009 Annex III entry 2a"
	annexEster     = "Reg. (EC) 1223/2009 Annex III entry 2b"
	annexPeroxide  = "Reg. (EC) 1223/2009 Annex III entry 12 as replaced by Reg. (EU) 2019/831"
	annexAmmonia   = "Reg. (EC) 1223/2009 Annex III entry 4"
	annexHydroxide = "Reg. (EC) 1223/2009 Annex III entry 15a; 4.5 % professional from memory"
	annexFormalin  = "Reg. (EC) 1223/2009 Annex II entry 1577; Reg. (EU) 2022/1181"
	reviewBromate  = "Cosmetic Ingredient Review conclusion"
	agencyGlyoxyl  = "French agency ANSES"
)

// Cautions lists what to be careful of.
func (l Label) Cautions() []Caution {
	var out []Caution
	out = append(out, l.acid(l.Thioglycolic, "thioglycolic_acid", "thioglycolic acid and salts, as acid", 7, annexThio)...)
	out = append(out, l.acid(l.Ester, "thioglycolate_ester", "thioglycolic esters, as acid", 6, annexEster)...)
	if l.Ester != nil && *l.Ester > 0 {
		out = append(out, caution("thioglycolate_ester", "Thioglycolic esters may sensitise.", annexEster))
	}
	over := func(v *float64, limit float64, code, what, source string) {
		if v != nil && *v > limit {
			out = append(out, caution(code, fmt.Sprintf("%s %% %s: above the limit of %s %%.", scheduling.Number(*v), what, scheduling.Number(limit)), source))
		}
	}
	over(l.Peroxide, 12, "peroxide", "hydrogen peroxide", annexPeroxide)
	over(l.Ammonia, 6, "ammonia", "ammonia", annexAmmonia)
	over(l.Bromate, 10.17, "bromate", "bromate, as sodium bromate", reviewBromate)
	out = append(out, l.hydroxide()...)
	if l.Formaldehyde != nil && *l.Formaldehyde > 0 {
		text := "Formaldehyde is prohibited in cosmetic products in the EU."
		if *l.Formaldehyde > 0.001 {
			text += " Above 0.001 % (10 ppm) the label has to say “releases formaldehyde”."
		}
		out = append(out, caution("formaldehyde", text, annexFormalin))
	}
	if l.Glyoxylic {
		out = append(out, caution("glyoxylic_acid", "Glyoxylic acid: cases of kidney failure are reported; avoid it pending rules.", agencyGlyoxyl))
	}
	return out
}

// acid holds a share against the limits for general and for professional use:
// 8 and 11 %, ready for use at a pH from least to 9.5.
func (l Label) acid(v *float64, code, what string, least float64, source string) []Caution {
	if v == nil || *v == 0 {
		return nil
	}
	const general, professional, most = 8, 11, 9.5
	var out []Caution
	share := scheduling.Number(*v) + " % " + what
	switch {
	case *v > professional:
		out = append(out, caution(code, share+": above the limits of 8 % for general and 11 % for professional use.", source))
	case *v > general && !l.Professional:
		out = append(out, caution(code, share+": above the limit of 8 % for general use; up to 11 % only with the label “for professional use only”.", source))
	}
	span := fmt.Sprintf("ready for use at pH %s to %s", scheduling.Number(least), scheduling.Number(most))
	switch {
	case l.PH == nil:
		out = append(out, caution(code+"_ph", share+" has to be "+span+"; nobody has noted its pH.", source))
	case *l.PH < least || *l.PH > most:
		out = append(out, caution(code+"_ph", fmt.Sprintf("%s at pH %s; it has to be %s.", share, scheduling.Number(*l.PH), span), source))
	}
	return out
}

func (l Label) hydroxide() []Caution {
	if l.Hydroxide == nil || *l.Hydroxide == 0 {
		return nil
	}
	const general, professional = 2, 4.5
	out := []Caution{caution("sodium_hydroxide_hair", "Hydroxide never goes on hair that thioglycolate has treated, nor the other way round.", "state examination text")}
	share := scheduling.Number(*l.Hydroxide) + " % sodium hydroxide"
	switch {
	case *l.Hydroxide > professional:
		out = append(out, caution("sodium_hydroxide", share+": above the limits of 2 % for general and 4.5 % for professional use.", annexHydroxide))
	case *l.Hydroxide > general && !l.Professional:
		out = append(out, caution("sodium_hydroxide", share+": above the limit of 2 % for general use; up to 4.5 % only for professional use.", annexHydroxide))
	}
	return out
}

// caution adds source and advice to a text.
func caution(code, text, source string) Caution {
	if strings.HasPrefix(source, "Reg.") || source == reviewBromate {
		text += " (" + source + "). " + reread
	} else {
		text += " (" + source + ")."
	}
	return Caution{code, strings.Replace(text, ". (", " (", 1), source}
}
