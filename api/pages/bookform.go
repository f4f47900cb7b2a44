package pages

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
	known := Select(FieldClient, "Client", "", f.Client, p.Clients, "somebody new")
	for i := range known.Options {
		known.Options[i].Class = "known"
	}
	return fieldGroup{Legend: "Who", Fields: []Field{
		known,
		Input(FieldFirstName, "First name", "", "text", f.FirstName).stranger(),
		Input(FieldInitial, "Family name", "an initial is enough", "text", f.Initial).stranger(),
		Input(FieldPhone, "Phone", "with its country code; may be left out", "tel", f.Phone).stranger(),
		Input(FieldMail, "Mail", "may be left out", "email", f.Mail).stranger(),
		Select(FieldPreferred, "Messages by", "", f.Preferred, preferredOptions, "not asked yet").stranger(),
	}}
}

func (p BookPage) serviceGroup() fieldGroup {
	f := p.Fields
	service := Field{Name: FieldService, Label: "Service", Kind: "select", Value: f.Service, EmptyText: "choose"}
	for _, s := range p.Services {
		c := Choice{Value: s.ID, Text: s.Name, Chosen: s.ID == f.Service}
		if !s.NeedsHair {
			c.Class = "nohair"
		}
		service.Options = append(service.Options, c)
	}
	return fieldGroup{Legend: "What and when", Fields: []Field{
		service,
		Select(FieldStylist, "Stylist", "", f.Stylist, p.Stylists, "anybody"),
		Input(FieldDateFrom, "From this day on", "", "date", f.DateFrom),
	}}
}

func (p BookPage) phoneGroup() fieldGroup {
	f := p.Fields
	return fieldGroup{
		Legend: "Hair nobody has seen yet: three questions for the telephone", Class: "hair",
		Hint:    "The answer is then a range; it becomes firm after the consultation.",
		Details: true, Open: f.Reach != "" || f.Ponytail != "" || len(f.History) > 0,
		Fields: []Field{
			Select(FieldReach, "Pulled straight or wet, where does it reach?", "", f.Reach, reachOptions, "not asked"),
			Select(FieldPonytail, "How thick is the ponytail?", "", f.Ponytail, ponytailOptions, "not asked"),
			Several(FieldHistory, "What was done to it in the last three years?", f.History, historyOptions),
		},
	}
}

func (p BookPage) hairGroup() fieldGroup {
	f := p.Fields
	g := fieldGroup{
		Legend: "Hair", Class: "hair", Note: "This service takes the same time on any hair.",
		Fields: []Field{
			p.length(FieldLength, FieldLengthIn, "Length", "crown to ends, "+p.between("8 to 120", "3.15 to 47.24")+"; pulled straight, unless ticked below", f.Length),
			Select(FieldDensity, "How much hair", "", f.Density, densityOptions, "choose"),
			Select(FieldStrand, "Each hair", "", f.Strand, strandOptions, "choose"),
			Select(FieldPorosity, "Porosity", "resistant, normal or porous", f.Porosity, porosityOptions, "choose"),
			Select(FieldCurl, "Curl", "as it grows", f.Curl, curlOptions, "choose"),
			p.length(FieldRegrowth, FieldRegrowthIn, "New growth only", "pulled straight; 0 or empty: all of the hair is treated", f.Regrowth),
			Tick(FieldFree, "Length as it hangs", "not pulled straight: what the curl takes up is added", f.Free),
			Tick(FieldDamaged, "Damaged", "bleached, brittle or breaking", f.Damaged),
			Tick(FieldNewClient, "First time here", "the consultation takes longer", f.NewClient),
		},
	}
	if p.Known != nil {
		g.Lines = p.Known.Lines
		g.Fields = append([]Field{p.length(FieldCut, FieldCutIn, "Cut since then", "0 when nothing was", f.Cut)}, g.Fields...)
	}
	return g
}

// length is a number in the salon's unit.
func (p BookPage) length(cm, in, label, hint, value string) Field {
	if p.Inches {
		return Number(in, label+", in", hint, value)
	}
	return Number(cm, label+", cm", hint, value)
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
		Fields: []Field{
			Number(FieldSections, "Sections", "areas clipped away, 2 to 8", f.Sections),
			p.length(FieldPlate, FieldPlateIn, "Plate width", "printed on the iron, "+p.between("2.5 to 5", "0.99 to 1.96"), f.Plate),
			Select(FieldHands, "Who works", "", f.Hands, handsOptions, ""),
			Number(FieldBatches, "Batches", "1 to 6; left empty: as few as the hair bears", f.Batches),
		},
	}
}

// stranger marks a field that is asked of a new client only.
func (f Field) stranger() Field {
	f.Class = "stranger"
	return f
}
