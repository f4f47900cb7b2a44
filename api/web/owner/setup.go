package owner

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) setUpPages() {
	p.get("/set-up", "update-salon", (*visit).setUpSheet)
	p.post("/set-up/salon", "update-salon", (*visit).saveSalon, (*visit).setUpSheet)
	p.post("/set-up/week", "set-hours", saveWeek("/set-up?done=week#week"), (*visit).setUpSheet)
	p.post("/set-up/people/add", "add-staff", addPerson("/set-up?done=added#people"), (*visit).setUpSheet)
	p.post("/set-up/rooms", "add-station", (*visit).addRooms, (*visit).setUpSheet)
	p.post("/set-up/maker", "set-maker-figures", (*visit).saveMaker, (*visit).setUpSheet)
	p.post("/set-up/usual", "add-usual-services", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodPost, "/services/usual", nil, nil)
		return answer{to: "/set-up?done=services#services"}, err
	}, (*visit).setUpSheet)
}

func (v *visit) setUpSheet() (*sheet, error) {
	s := &sheet{Frame: v.site.Frame(v.c, v.salon, "/set-up", "Set-up")}
	s.Frame.Sub, s.Frame.Scripts = v.salon.Location.String(), []string{"setup.js"}
	state, _, err := tagged[api.SetUpBody](v, "/set-up")
	if err != nil {
		return nil, err
	}
	n, tag, err := tagged[api.SalonBody](v, "/salon")
	if err != nil {
		return nil, err
	}
	_, weekTag, err := tagged[api.HoursBody](v, "/hours")
	if err != nil {
		return nil, err
	}
	staff, err := v.staff()
	if err != nil {
		return nil, err
	}
	stations, err := v.stations()
	if err != nil {
		return nil, err
	}
	maker, makerTag, err := tagged[api.MakerFiguresBody](v, "/maker-figures")
	if err != nil {
		return nil, err
	}
	services, err := v.services()
	if err != nil {
		return nil, err
	}
	s.Parts = append(s.Parts, checklist(state), salonPart(n, tag),
		part{ID: "week", Title: "Opening hours", Forms: []form{weekForm("/set-up/week", state.Open, weekTag)},
			Links: []link{{Href: "/set-up/hours", Text: "Closing days"}}},
		v.peoplePart(staff, state.Hours, services), roomsPart(stations), makerPart(maker, makerTag), servicesPart(services), everything())
	return s, nil
}

// blocks are where on the page something is entered, by its code.
var blocks = map[string]string{"hours": "#week", "people": "#people", "staff_hours": "#people", "chairs": "#rooms", "basins": "#rooms", "services": "#services",
	"skills": "#people", "steps": "/set-up/services", "prices": "/set-up/services", "solution": "#maker", "neutralizer": "#maker", "phone": "#salon", "mail": "#salon", "address": "#salon", "emergency": "#salon"}

func checklist(b api.SetUpBody) part {
	p := part{ID: "missing", Title: "Ready: the first visit can be booked"}
	switch {
	case b.Ready && slices.ContainsFunc(b.Advice, func(m api.MissingBody) bool { return m.Code == "prices" }):
		p.Title = "The first visit can be booked, once you have looked at the prices"
	case !b.Ready:
		p.Title = fmt.Sprintf("Before the first booking: %d to do", len(b.Missing))
	}
	for _, m := range b.Missing {
		p.List = append(p.List, link{Href: blocks[m.Code], Text: m.Words, Class: "refuse"})
	}
	for _, m := range b.Advice {
		p.List = append(p.List, link{Href: blocks[m.Code], Text: m.Words, Class: "warn"})
	}
	if b.Ready {
		p.Links = []link{{Href: "/book", Text: "Book a visit"}}
	}
	return p
}

func salonPart(n api.SalonBody, tag string) part {
	return part{ID: "salon", Title: "The salon", Forms: []form{{ID: "salon", Action: "/set-up/salon", Hidden: []hidden{version(tag)},
		Fields: []pages.Field{
			pages.Input("salon-name", "Name", "As clients know it", "text", n.Name),
			pages.Input("salon-address", "Address", "On one line", "text", n.Address),
			pages.Input("salon-phone", "Telephone for clients", "With the country code, such as +49 30 901820", "tel", n.Phone),
			pages.Input("salon-mail", "Mail for clients", "", "email", n.Mail),
			pages.Input("salon-emergency", "Emergency number", "Dialled for an ambulance where you are: 2 to 6 digits, such as 112, 911 or 999. Named in aftercare and when product has to come off", "text", n.Emergency),
			pages.Input("salon-currency", "Currency", "Three letters, such as EUR", "text", n.Currency),
			choose("salon-length_unit", "Lengths", n.LengthUnit, "cm", "in centimetres", "in", "in inches"),
			choose("salon-heat_unit", "Heat", n.HeatUnit, "C", "in °C", "F", "in °F"),
		}, Buttons: save("Save the salon")}}}
}

// choose is a list to choose from, of pairs of value and text.
func choose(name, label, value string, pairs ...string) pages.Field {
	return pages.Select(name, label, "", value, options(pairs...), "")
}

func options(pairs ...string) []pages.Option {
	var out []pages.Option
	for i := 0; i+1 < len(pairs); i += 2 {
		out = append(out, pages.Option{ID: pairs[i], Name: pairs[i+1]})
	}
	return out
}

func (v *visit) saveSalon() (answer, error) {
	n, _, err := tagged[api.SalonBody](v, "/salon")
	if err != nil {
		return answer{}, err
	}
	n.Name, n.Address, n.Phone, n.Mail = v.typed("name"), v.typed("address"), v.typed("phone"), v.typed("mail")
	n.Emergency, n.Currency = v.typed("emergency"), strings.ToUpper(v.typed("currency"))
	n.LengthUnit, n.HeatUnit = v.typed("length_unit"), v.typed("heat_unit")
	_, err = v.ask(http.MethodPut, "/salon", n, nil)
	return answer{to: "/set-up?done=saved#salon"}, err
}

func roomsPart(list []api.StationBody) part {
	p := part{ID: "rooms", Title: "Chairs and basins", Links: []link{{Href: "/set-up/stations", Text: "Names, clearing, out of order"}}}
	var words []string
	for _, u := range list {
		words = append(words, u.Name)
	}
	if len(words) > 0 {
		p.Text = []string{strings.Join(words, ", ") + "."}
	}
	p.Forms = []form{{ID: "rooms", Action: "/set-up/rooms", Hidden: []hidden{key()}, Fields: []pages.Field{
		pages.Number("rooms-chairs", "More chairs", "How many", ""),
		pages.Number("rooms-basins", "More basins", "How many", ""),
	}, Buttons: save("Add them")}}
	return p
}

// mostRooms is how many chairs or basins one form adds (judgement).
const mostRooms = 30

func (v *visit) addRooms() (answer, error) {
	var f faults
	count := map[string]int{}
	for kind, field := range map[string]string{"chair": "chairs", "basin": "basins"} {
		if v.typed(field) == "" {
			continue
		}
		n, err := strconv.Atoi(v.typed(field))
		if err != nil || n < 0 || n > mostRooms {
			f.add(v, field, fmt.Sprintf("“%s” is not a number from 0 to %d.", v.typed(field), mostRooms))
		}
		count[kind] = n
	}
	if len(f) == 0 && count["chair"]+count["basin"] == 0 {
		f.add(v, "chairs", "Nothing is named. Right is how many chairs or basins there are.")
	}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	_, err := v.ask(http.MethodPost, "/stations/several", api.NewStationsBody{Chairs: count["chair"], Basins: count["basin"], Items: []api.StationBody{}}, nil)
	return answer{to: "/set-up?done=added#rooms"}, err
}

func makerPart(b api.MakerFiguresBody, tag string) part {
	return part{ID: "maker", Title: "The maker's four figures", Text: []string{
		"From the label or the maker's directions, which come before every figure of this program. Leave empty what you do not know: nothing is put in its place."},
		Forms: []form{{ID: "maker", Action: "/set-up/maker", Hidden: []hidden{version(tag)}, Fields: []pages.Field{
			pages.Input("maker-solution", "Solution", "Your own word for it", "text", b.Solution),
			pages.Input("maker-solution_strength", "Strength of the solution", "As on the label", "text", b.SolutionStrength),
			pages.Number("maker-processing_minutes", "Processing", "Minutes", whole(b.Processing)),
			pages.Number("maker-longest_minutes", "Longest time on the hair", "Minutes, from the first strand", whole(b.Longest)),
			pages.Number("maker-dry_before_iron_percent", "Dryness before the iron", "Percent, such as 80", decimal(b.DryBefore)),
			pages.Input("maker-neutralizer", "Neutralizer", "Your own word for it", "text", b.Neutralizer),
			pages.Input("maker-neutralizer_strength", "Strength of the neutralizer", "As on the label", "text", b.NeutralizerStrength),
			pages.Number("maker-neutralizer_minutes", "Neutralizer time", notSet(b.NeutralizerMinutes), whole(b.NeutralizerMinutes)),
		}, Buttons: save("Note the figures")}}}
}

func notSet(n *int) string {
	if n == nil {
		return "Minutes. Not set: every straightening says so until you have asked the maker"
	}
	return "Minutes"
}

func (v *visit) saveMaker() (answer, error) {
	var f faults
	b := api.MakerFiguresBody{Solution: v.typed("solution"), SolutionStrength: v.typed("solution_strength"),
		Neutralizer: v.typed("neutralizer"), NeutralizerStrength: v.typed("neutralizer_strength"),
		Processing: v.count("processing_minutes", &f), Longest: v.count("longest_minutes", &f),
		NeutralizerMinutes: v.count("neutralizer_minutes", &f), DryBefore: v.amount("dry_before_iron_percent", &f)}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	_, err := v.ask(http.MethodPut, "/maker-figures", b, nil)
	return answer{to: "/set-up?done=figures#maker"}, err
}

func servicesPart(list []api.ServiceBody) part {
	p := part{ID: "services", Title: "Services", Links: []link{{Href: "/set-up/services", Text: "Steps and prices of the services"}}}
	if len(list) == 0 {
		p.Text = []string{"None yet. The usual ones are straightening in one and in two stages, retouch, cut, colour and care, consultation and tests; every step and price can be changed."}
		f := press("usual", "/set-up/usual", "Add the usual services", "")
		f.Buttons[0].Main = true
		p.Forms = []form{f}
		return p
	}
	var names []string
	for _, x := range list {
		names = append(names, x.Name)
	}
	p.Text = []string{strings.Join(names, ", ") + "."}
	return p
}

// everything is where the rest of Set-up stands.
func everything() part {
	return part{ID: "more", Title: "More", Links: []link{
		{Href: "/set-up/hours", Text: "Opening hours and closing days"},
		{Href: "/set-up/people", Text: "People", More: "working hours, skills, who leaves"},
		{Href: "/set-up/stations", Text: "Chairs and basins"},
		{Href: "/set-up/absences", Text: "Absences"},
		{Href: "/set-up/services", Text: "Services", More: "steps and prices"},
		{Href: "/set-up/products", Text: "Products and stock"},
		{Href: "/set-up/chair-time", Text: "Chair time", More: "the constants behind every estimate"},
		{Href: "/set-up/rules", Text: "Rules", More: "booking, deposits, tests, aftercare, privacy"},
		{Href: "/set-up/consultation", Text: "Consultation and consent", More: "your own questions, the wording that clients agree to"},
		{Href: "/set-up/messages", Text: "Messages", More: "which, when, in which words"},
		{Href: "/set-up/pace", Text: "Pace and promise", More: "what the records say"},
		{Href: "/set-up/access", Text: "Calendars and tokens"},
		{Href: "/set-up/sign-in", Text: "Who signs in"},
		{Href: "/set-up/keeping", Text: "How long things are kept", More: "what is erased by itself, and when"},
		{Href: "/set-up/changes", Text: "Who changed what", More: "by person, thing and day"},
	}}
}
