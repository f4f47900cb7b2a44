package pages

// Words of the form beside the values that JSON uses for them.
var (
	densityOptions  = []Option{{"low", "little"}, {"medium", "average"}, {"high", "a lot"}}
	strandOptions   = []Option{{"fine", "fine"}, {"medium", "medium"}, {"coarse", "coarse"}}
	porosityOptions = []Option{{"low", "resistant"}, {"normal", "normal"}, {"high", "porous"}}
	curlOptions     = []Option{{"straight", "straight"}, {"wavy", "wavy"}, {"curly", "curly"}, {"coily", "coily"}}
	handsOptions    = []Option{{"1", "the stylist alone"}, {"2", "with a helper"}}

	preferredOptions = []Option{{"call", "a call"}, {"text", "a text"}, {"mail", "mail"}, {"none", "no messages"}}

	togetherOptions = []Option{{"arrive_together", "arrive together"}, {"side_by_side", "side by side"}, {"one_after_other", "one after the other"}}

	reachOptions = []Option{
		{"ear", "ear"}, {"chin", "chin"}, {"shoulder", "shoulder"},
		{"mid_back", "middle of the back"}, {"waist", "waist"}, {"longer", "longer"},
	}
	ponytailOptions = []Option{{"little", "a pencil"}, {"average", "a finger"}, {"a_lot", "two fingers"}}
	historyOptions  = []Option{
		{"nothing", "nothing"}, {"straightened_here", "straightened here"},
		{"straightened", "straightened elsewhere"}, {"coloured", "coloured"},
		{"bleached_or_highlighted", "bleached or highlighted"}, {"relaxer_or_perm", "relaxer or perm"},
		{"henna_or_other", "henna or other"}, {"not_sure", "not sure"},
	}
)

// groups are the fields of the form with what was typed into them, in the order
// in which the desk asks: who, what, what hair, when.
func (p BookPage) groups() []fieldGroup {
	out := []fieldGroup{p.clientGroup(), p.serviceGroup()}
	phone, hair := p.phoneGroup(), p.hairGroup()
	switch {
	case !p.PhoneQuestions:
		hair.Fold = ""
		out = append(out, hair)
	case p.Fields.HairAsked():
		hair.Fold, phone.Fold = "", "Ask the three questions all the same"
		out = append(out, hair, phone)
	default:
		out = append(out, phone, hair)
	}
	out[1].Note = "This service takes the same time on any hair."
	if p.Known == nil && !p.Fields.HairAsked() && !p.Fields.PhoneAsked() {
		for i := range out { // of a known client the record is looked at first
			if out[i].Class == "hair" && p.PhoneQuestions && !out[i].Draw {
				out[i].Class = "hair unasked"
			}
		}
	}
	return append(out, p.whenGroup())
}

func (p BookPage) clientGroup() fieldGroup {
	f := p.Fields
	who := Input(FieldWho, "Client", "a part of the name, or the last digits of the telephone number", "text", f.Who)
	first := Input(FieldFirstName, "First name", "", "text", f.FirstName).stranger()
	first.Focus = p.Step == StepForm && p.MatchWords != "" && len(p.Matches) == 0 && len(p.Errors) == 0 // nobody was found
	return fieldGroup{Legend: "Who", Who: &who, Fields: []Field{
		first,
		Input(FieldInitial, "Family name", "an initial is enough", "text", f.Initial).stranger(),
		Input(FieldPhone, "Phone", "with its country code, or as it is dialled here; may be left out", "tel", f.Phone).stranger(),
		Input(FieldMail, "Mail", "may be left out", "email", f.Mail).stranger(),
		Select(FieldPreferred, "Messages by", "", f.Preferred, preferredOptions, "not asked yet").stranger(),
	}}
}

func (p BookPage) serviceGroup() fieldGroup {
	f := p.Fields
	g := fieldGroup{Legend: "What", More: len(f.Others)+1 < MostServices, Count: len(f.Others) + 1, Fields: []Field{p.service(0, f.Service)}}
	for i, id := range f.Others {
		g.Fields = append(g.Fields, p.service(i+1, id))
	}
	return g
}

// service is the list of services for service i of the visit.
func (p BookPage) service(i int, value string) Field {
	out := Field{Name: ServiceField(i), Label: "Service", Kind: "select", Value: value, EmptyText: "choose"}
	if i > 0 {
		out.Label, out.EmptyText = "And then", "nothing else"
	}
	for _, s := range p.Services {
		c := Choice{Value: s.ID, Text: s.Name, Chosen: s.ID == value, Class: "onhair"}
		if !s.NeedsHair {
			c.Class = "nohair"
		}
		out.Options = append(out.Options, c)
	}
	return out
}

func (p BookPage) whenGroup() fieldGroup {
	f := p.Fields
	day := Input(FieldDateFrom, "From this day on", "", "date", f.DateFrom)
	if p.Beside != nil { // her day is that of the other
		day = Select(FieldHow, "How both come", "", f.How, togetherOptions, "")
	}
	if p.Beside != nil && p.Beside.Fixed != "" {
		day.Options = []Choice{{Value: f.How, Text: p.Beside.Fixed, Chosen: true}}
	}
	return fieldGroup{Legend: "When and with whom", Fields: []Field{
		Select(FieldStylist, "Stylist", "", f.Stylist, p.Stylists, "anybody"),
		day,
		Input(FieldNote, "Note for the day", "such as: brings a child; nothing about health", "text", f.Note),
	}}
}

func (p BookPage) phoneGroup() fieldGroup {
	f := p.Fields
	return fieldGroup{
		Legend: "Hair nobody has seen yet: three questions", Class: "hair", Open: f.Reach != "" || f.Ponytail != "" || len(f.History) > 0,
		Hint:  "The answer is a range; it becomes firm after the consultation.",
		Lines: p.knownLines(false),
		Fields: []Field{
			Select(FieldReach, "Pulled straight or wet, where does it reach?", "", f.Reach, reachOptions, "not asked"),
			Select(FieldPonytail, "How thick is the ponytail?", "", f.Ponytail, ponytailOptions, "not asked"),
			Several(FieldHistory, "What was done to it in the last three years?", f.History, historyOptions),
		},
	}
}

// knownLines is what is known of the hair beforehand, shown with the fields that
// count.
func (p BookPage) knownLines(measured bool) []string {
	if p.Known == nil || measured != (p.Fields.HairAsked() || !p.PhoneQuestions) {
		return nil
	}
	return p.Known.Lines
}

func (p BookPage) hairGroup() fieldGroup {
	f := p.Fields
	g := fieldGroup{
		Legend: "Measured hair", Class: "hair", Fold: "Measured hair", Draw: true,
		Hint: "Where a length stands here, these figures count, and the three answers do not.",
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
			Number(FieldSections, "Sections", "areas clipped away, 2 to 8", f.Sections),
			p.length(FieldPlate, FieldPlateIn, "Plate width", "printed on the iron, "+p.between("2.5 to 5", "0.99 to 1.96"), f.Plate),
			Select(FieldHands, "Who works", "", f.Hands, handsOptions, ""),
			Number(FieldBatches, "Batches", "1 to 6; left empty: as few as the hair bears", f.Batches),
		},
		Open: f.HairAsked(),
	}
	if !p.PhoneQuestions {
		g.Hint = ""
	}
	if p.Known != nil {
		g.Lines = p.knownLines(true)
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

// stranger marks a field that is asked of a new client only.
func (f Field) stranger() Field {
	f.Class = "stranger"
	return f
}
