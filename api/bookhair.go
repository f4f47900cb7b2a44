package api

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"

	"chairblock/api/pages"
	"chairblock/scheduling"
)

// inUnit writes a length in the salon's unit as it would be typed.
func (b *booking) inUnit(cm float64) string {
	v := b.n.time.Units.InLength(cm)
	if b.n.time.Units.Inches {
		v = decimals(v, 2)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// lengths reads what the form says in the salon's unit.
func (b *booking) lengths(h *HeadBody, number func(field, text string, whole bool) float64) {
	v := b.page.Fields
	read := func(cm, in, text string, into *float64, other **float64) {
		if !b.n.time.Units.Inches {
			*into = number(cm, text, false)
			return
		}
		*other = new(number(in, text, false))
	}
	if v.Free {
		read(pages.FieldLength, pages.FieldLengthIn, v.Length, &h.FreeLengthCM, &h.FreeLengthIn)
	} else {
		read(pages.FieldLength, pages.FieldLengthIn, v.Length, &h.LengthCM, &h.LengthIn)
	}
	read(pages.FieldRegrowth, pages.FieldRegrowthIn, v.Regrowth, &h.RegrowthCM, &h.RegrowthIn)
	read(pages.FieldPlate, pages.FieldPlateIn, v.Plate, &h.PlateDepthCM, &h.PlateDepthIn)
	h.InSI()
}

// hairFields fills the form with hair that is known, stretched.
func (b *booking) hairFields(v *pages.BookFields, h HeadBody) {
	v.Length, v.Density, v.Strand, v.Porosity, v.Curl = b.inUnit(h.LengthCM), h.Density, h.Strand, h.Porosity, cmp.Or(h.Curl, "straight")
	v.Free, v.Damaged, v.NewClient, v.Regrowth = false, h.Damaged, h.NewClient, b.inUnit(h.RegrowthCM)
	v.Sections, v.Plate = strconv.Itoa(h.Sections), b.inUnit(h.PlateDepthCM)
}

// knownClientParameter opens the form for a client.
const knownClientParameter = "client"

// startWithClient opens the form for the client whom the address names, with the
// hair as it should be.
func (b *booking) startWithClient(ctx context.Context) error {
	id := b.form.Get(knownClientParameter)
	if id == "" {
		return nil
	}
	b.page.Fields.Client = id
	return b.expectHair(ctx)
}

// knownHair fills in the hair of a known client where a button asks for it, or
// where nobody has typed any, and reports whether that was all to be done.
func (b *booking) knownHair(ctx context.Context, kind pages.ActionKind) (done bool, err error) {
	v := b.page.Fields
	hair := slices.ContainsFunc(v.Chosen(), func(id string) bool { row := b.service(id); return row != nil && needsHair(row.Service) })
	switch {
	case kind == pages.ActHair && v.Client == "":
		return true, &scheduling.InvalidError{Field: pages.FieldClient, Problem: "is somebody new", Want: "a client who is known, whose hair was seen here before"}
	case kind == pages.ActHair:
		return true, b.expectHair(ctx)
	case kind != pages.ActBook && kind != pages.ActPencil && kind != pages.ActConsult && v.Client != "" && hair && !v.HairAsked() && !v.PhoneAsked():
		return false, b.expectHair(ctx)
	}
	return false, nil
}

// expectHair fills in the hair of the client as it should be on the first day of
// the search, and says how it was worked out and what has to be asked.
func (b *booking) expectHair(ctx context.Context) error {
	v := &b.page.Fields
	b.page.Known = &pages.KnownHair{} // which shows where to type what was cut
	p, err := loadHairPast(ctx, b.t, b.n, v.Client)
	if err != nil {
		return err
	}
	var f scheduling.Faults
	on := scheduling.CivilDate(b.s.now(), b.n.loc)
	if v.DateFrom != "" {
		if d := day(&f, pages.FieldDateFrom, v.DateFrom); d.After(on) {
			on = d
		}
	}
	cut := b.cut(&f)
	if err := f.Err(); err != nil {
		return err
	}
	e, err := p.expect(b.n, on, cut)
	if err != nil {
		if e, ok := errors.AsType[*scheduling.InvalidError](err); ok && e.Field == pages.FieldCut && b.n.time.Units.Inches {
			e.Field = pages.FieldCutIn
		}
		return err
	}
	for _, x := range e.Counts {
		b.page.Known.Lines = append(b.page.Known.Lines, map[string]string{"length": "Length: ", "regrowth": "New growth: "}[x.Figure]+x.Working+".")
	}
	if e.Hair != nil {
		b.page.Known.Lines = append(b.page.Known.Lines, "Growth: "+e.Growth.Words+".")
		b.hairFields(v, *e.Hair)
	}
	for _, x := range e.Ask {
		if x.Code == "cut_since" {
			x.Text = "How much was cut since " + p.seen[len(p.seen)-1].on.Format("2 January 2006") + "? Type it in and fill in the hair once more."
		}
		b.page.Known.Lines = append(b.page.Known.Lines, x.Text)
	}
	return nil
}

// cut is what was cut since the hair was last seen in cm, nil when that is open.
func (b *booking) cut(f *scheduling.Faults) *float64 {
	text := b.page.Fields.Cut
	if text == "" {
		return nil
	}
	v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
	if err != nil || !(v >= 0 && v <= 120) {
		name := pages.FieldCut
		if b.n.time.Units.Inches {
			name = pages.FieldCutIn
		}
		f.Addf(name, "a number, 0 when nothing was cut", "is %q", text)
		return nil
	}
	return new(b.n.time.Units.OfLength(v))
}
