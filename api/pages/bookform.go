package pages

import "slices"

// Words of the form beside the values that JSON uses for them.
var (
	densityOptions  = []Option{{"low", "little"}, {"medium", "average"}, {"high", "a lot"}}
	strandOptions   = []Option{{"fine", "fine"}, {"medium", "medium"}, {"coarse", "coarse"}}
	porosityOptions = []Option{{"low", "resistant"}, {"normal", "normal"}, {"high", "porous"}}
	curlOptions     = []Option{{"straight", "straight"}, {"wavy", "wavy"}, {"curly", "curly"}, {"coily", "coily"}}
	handsOptions    = []Option{{"1", "the stylist alone"}, {"2", "with a helper"}}

	preferredOptions = []Option{{"call", "a call"}, {"text", "a text"}, {"mail", "mail"}, {"none", "no messages"}}

	reachOptions = []Option{
		{"ear", "ear"}, {"chin", "chin"}, {"shoulder", "shoulder"},
		{"mid_back", "middle of the back"}, {"waist", "waist"}, {"longer", "longer"},
	}
	ponytailOptions = []Option{{"little", "a pencil"}, {"average", "a finger"}, {"a_lot", "two fingers"}}
	historyOptions  = []Option{
		{"nothing", "nothing"}, {"straightened_here", "straightened here"},
		{"straightened_elsewhere", "straightened elsewhere"}, {"coloured", "coloured"},
		{"bleached", "bleached or highlighted"}, {"relaxer_or_perm", "relaxer or perm"},
		{"henna_or_other", "henna or other"}, {"not_sure", "not sure"},
	}
)

// groups are the fields of the form with what was typed into them.
func (p BookPage) groups() []fieldGroup {
	groups := []fieldGroup{p.clientGroup(), p.serviceGroup()}
	if p.PhoneQuestions {
		groups = append(groups, p.phoneGroup())
	}
	return append(groups, p.hairGroup(), p.workGroup())
}

func (p BookPage) clientGroup() fieldGroup {
	f := p.Fields
	known := sel(FieldClient, "Client", "", f.Client, p.Clients, "somebody new")
	for i := range known.Options {
		known.Options[i].Class = "known"
	}
	return fieldGroup{Legend: "Who", Fields: []field{
		known,
		input(FieldFirstName, "First name", "", "text", f.FirstName).stranger(),
		input(FieldInitial, "Family name", "an initial is enough", "text", f.Initial).stranger(),
		input(FieldPhone, "Phone", "with its country code; may be left out", "tel", f.Phone).stranger(),
		input(FieldMail, "Mail", "may be left out", "email", f.Mail).stranger(),
		sel(FieldPreferred, "Messages by", "", f.Preferred, preferredOptions, "not asked yet").stranger(),
	}}
}

func (p BookPage) serviceGroup() fieldGroup {
	f := p.Fields
	service := field{Name: FieldService, Label: "Service", Kind: "select", Value: f.Service, EmptyText: "choose"}
	for _, s := range p.Services {
		c := choice{Value: s.ID, Text: s.Name, Chosen: s.ID == f.Service}
		if !s.NeedsHair {
			c.Class = "nohair"
		}
		service.Options = append(service.Options, c)
	}
	return fieldGroup{Legend: "What and when", Fields: []field{
		service,
		sel(FieldStylist, "Stylist", "", f.Stylist, p.Stylists, "anybody"),
		input(FieldDateFrom, "From this day on", "", "date", f.DateFrom),
	}}
}

func (p BookPage) phoneGroup() fieldGroup {
	f := p.Fields
	return fieldGroup{
		Legend: "Hair nobody has seen yet: three questions for the telephone", Class: "hair",
		Hint:    "The answer is then a range; it becomes firm after the consultation.",
		Details: true, Open: f.Reach != "" || f.Ponytail != "" || len(f.History) > 0,
		Fields: []field{
			sel(FieldReach, "Pulled straight or wet, where does it reach?", "", f.Reach, reachOptions, "not asked"),
			sel(FieldPonytail, "How thick is the ponytail?", "", f.Ponytail, ponytailOptions, "not asked"),
			several(FieldHistory, "What was done to it in the last three years?", f.History, historyOptions),
		},
	}
}

func (p BookPage) hairGroup() fieldGroup {
	f := p.Fields
	g := fieldGroup{
		Legend: "Hair", Class: "hair", Note: "This service takes the same time on any hair.",
		Fields: []field{
			p.length(FieldLength, FieldLengthIn, "Length", "crown to ends, "+p.between("8 to 120", "3.15 to 47.24")+"; pulled straight, unless ticked below", f.Length),
			sel(FieldDensity, "How much hair", "", f.Density, densityOptions, "choose"),
			sel(FieldStrand, "Each hair", "", f.Strand, strandOptions, "choose"),
			sel(FieldPorosity, "Porosity", "resistant, normal or porous", f.Porosity, porosityOptions, "choose"),
			sel(FieldCurl, "Curl", "as it grows", f.Curl, curlOptions, "choose"),
			p.length(FieldRegrowth, FieldRegrowthIn, "New growth only", "pulled straight; 0 or empty: all of the hair is treated", f.Regrowth),
			tick(FieldFree, "Length as it hangs", "not pulled straight: what the curl takes up is added", f.Free),
			tick(FieldDamaged, "Damaged", "bleached, brittle or breaking", f.Damaged),
			tick(FieldNewClient, "First time here", "the consultation takes longer", f.NewClient),
		},
	}
	if p.Known != nil {
		g.Lines = p.Known.Lines
		g.Fields = append([]field{p.length(FieldCut, FieldCutIn, "Cut since then", "0 when nothing was", f.Cut)}, g.Fields...)
	}
	return g
}

// length is a number in the salon's unit.
func (p BookPage) length(cm, in, label, hint, value string) field {
	if p.Inches {
		return number(in, label+", in", hint, value)
	}
	return number(cm, label+", cm", hint, value)
}

// between is a range in the salon's unit.
func (p BookPage) between(cm, in string) string {
	if p.Inches {
		return in
	}
	return cm
}

func (p BookPage) workGroup() fieldGroup {
	f := p.Fields
	return fieldGroup{
		Legend: "How it is done", Class: "hair",
		Fields: []field{
			number(FieldSections, "Sections", "areas clipped away, 2 to 8", f.Sections),
			p.length(FieldPlate, FieldPlateIn, "Plate width", "printed on the iron, "+p.between("2.5 to 5", "0.99 to 1.96"), f.Plate),
			sel(FieldHands, "Who works", "", f.Hands, handsOptions, ""),
			number(FieldBatches, "Batches", "1 to 6; left empty: as few as the hair bears", f.Batches),
		},
	}
}

func input(name, label, hint, kind, value string) field {
	return field{Name: name, Label: label, Hint: hint, Kind: kind, Value: value, Auto: "off"}
}

// number is a text field with a keyboard for numbers: unlike a number field it
// keeps what was typed when that is not a number.
func number(name, label, hint, value string) field {
	f := input(name, label, hint, "text", value)
	f.Mode = "decimal"
	return f
}

func tick(name, label, hint string, checked bool) field {
	return field{Name: name, Label: label, Hint: hint, Kind: "tick", Checked: checked}
}

// sel is a list to choose from. A value that is not in the list, for example of
// somebody who has left, is kept as an entry of its own.
func sel(name, label, hint, value string, options []Option, empty string) field {
	f := field{Name: name, Label: label, Hint: hint, Kind: "select", Value: value, EmptyText: empty}
	found := value == ""
	for _, o := range options {
		f.Options = append(f.Options, choice{Value: o.ID, Text: o.Name, Chosen: o.ID == value})
		found = found || o.ID == value
	}
	if !found {
		f.Options = append(f.Options, choice{Value: value, Text: "as entered: " + value, Chosen: true})
	}
	return f
}

func several(name, label string, values []string, options []Option) field {
	f := field{Name: name, Label: label, Kind: "ticks"}
	for _, o := range options {
		f.Options = append(f.Options, choice{Value: o.ID, Text: o.Name, Chosen: slices.Contains(values, o.ID)})
	}
	return f
}

// stranger marks a field that is asked of a new client only.
func (f field) stranger() field {
	f.Class = "stranger"
	return f
}
