package scheduling

// clearAfterChemicals and clearOtherwise are how long a chair is cleared and
// cleaned after a visit, in minutes (judgement).
const (
	clearAfterChemicals = 10
	clearOtherwise      = 3
)

// Skills that the standard services ask for.
const (
	SkillStraightening = "straightening"
	SkillColour        = "colour"
	SkillCut           = "cut"
)

// StandardServices returns the services that a new salon begins with:
// straightening, its retouch, and an ordinary mix. Minutes of the ordinary
// ones are common practice, no source; every salon sets its own, and prices.
func StandardServices() []Service {
	list := []Service{
		{Name: "Straightening", Skill: SkillStraightening, Chemical: true, Aftercare: true, PriceCents: 32000, Families: []string{FamilyStraightening}, Steps: straightening()},
		{Name: "Regrowth retouch", Skill: SkillStraightening, Chemical: true, Aftercare: true, Retouch: true, PriceCents: 21000,
			Families: []string{FamilyStraightening}, Steps: straightening()},
		{Name: "Cut and dry", Skill: SkillCut, PriceCents: 5800, Steps: []Step{
			wash(8),
			{Kind: "cut", Label: "cut", Who: ByLead, Where: AtChair, Minutes: 30, HandsOn: true, WaitMax: 5},
			{Kind: "dry", Label: "dry and style", Who: ByLead, Where: AtChair, Minutes: 15, HandsOn: true},
		}},
		{Name: "Dry cut", Skill: SkillCut, PriceCents: 3900, Steps: []Step{
			{Kind: "cut", Label: "cut", Who: ByLead, Where: AtChair, Minutes: 30, HandsOn: true},
		}},
		{Name: "Wash and dry", Skill: SkillCut, PriceCents: 3200, Steps: []Step{
			wash(8),
			{Kind: "dry", Label: "dry and style", Who: ByLead, Where: AtChair, Minutes: 25, HandsOn: true},
		}},
		{Name: "Root colour", Skill: SkillColour, Chemical: true, PriceCents: 7400, Families: []string{FamilyColour}, Steps: []Step{
			{Kind: "colour", Label: "apply colour to the roots", Who: ByLead, Where: AtChair, Minutes: 30, HandsOn: true},
			// An ordinary colour works alone: the stylist is free meanwhile.
			{Kind: "colour_working", Label: "colour working", Who: ByNobody, Where: AtChair, Minutes: 35, WaitMax: 3},
			{Kind: "rinse", Label: "rinse colour", Who: ByAssistant, Where: AtBasin, Minutes: 10, HandsOn: true, WaitMax: 10},
			{Kind: "dry", Label: "dry and style", Who: ByLead, Where: AtChair, Minutes: 25, HandsOn: true},
		}},
		{Name: "Care treatment", Skill: SkillCut, PriceCents: 2900, Steps: []Step{
			wash(8),
			{Kind: "treat", Label: "work the treatment in", Who: ByLead, Where: AtChair, Minutes: 7, HandsOn: true},
			{Kind: "treat_working", Label: "treatment working", Who: ByNobody, Where: AtChair, Minutes: 10, WaitMax: 10},
			{Kind: "rinse", Label: "rinse treatment", Who: ByAssistant, Where: AtBasin, Minutes: 6, HandsOn: true, WaitMax: 10},
			{Kind: "dry", Label: "dry", Who: ByAssistant, Where: AtChair, Minutes: 14, HandsOn: true},
		}},
		{Name: "Patch test", PriceCents: 0, Steps: []Step{
			{Kind: "patch_test", Label: "patch test behind the ear or in the elbow", Who: ByLead, Where: AtChair, Minutes: 5, HandsOn: true},
		}},
		{Name: "Consultation", Skill: SkillStraightening, PriceCents: 0, Steps: []Step{
			{Kind: "consultation", Label: "consultation", Who: ByLead, Where: AtChair, Minutes: 15, HandsOn: true},
		}},
		{Name: "Consultation with strand test", Skill: SkillStraightening, PriceCents: 1500, Steps: []Step{
			{Kind: "consultation", Label: "consultation and strand test on cut hair", Who: ByLead, Where: AtChair, Minutes: 45, HandsOn: true},
		}},
	}
	for i := range list {
		clear := clearOtherwise
		if list[i].Chemical {
			clear = clearAfterChemicals
		}
		list[i].Clear = &clear
		for k := range list[i].Steps {
			st := &list[i].Steps[k]
			st.MayOverrun, st.WatchFor = st.UsuallyOverruns(), StandardWatchFor(*st)
		}
	}
	return list
}

func wash(minutes int) Step {
	return Step{Kind: "wash", Label: "wash", Who: ByAssistant, Where: AtBasin, Minutes: minutes, HandsOn: true, WaitMax: 5}
}

// straightening lists the steps that take their minutes from the head, with
// the longest wait allowed after each (judgement): none where product would go
// on working.
func straightening() []Step {
	lead := func(k StepKind, wait int, helper bool) Step {
		return Step{Kind: k, Label: k.Words(), Who: ByLead, Where: AtChair, Formula: FormulaHead, HandsOn: true, WaitMax: wait, Helper: helper}
	}
	watch := func(k StepKind) Step {
		return Step{Kind: k, Label: k.Words(), Who: ByLead, Where: AtChair, Formula: FormulaHead, Watched: true}
	}
	rinse := func(k StepKind, wait int) Step {
		return Step{Kind: k, Label: k.Words(), Who: ByAssistant, Where: AtBasin, Formula: FormulaHead, HandsOn: true, WaitMax: wait}
	}
	dry := func(k StepKind) Step {
		return Step{Kind: k, Label: k.Words(), Who: ByAssistant, Where: AtChair, Formula: FormulaHead, HandsOn: true, WaitMax: 10, Helper: true}
	}
	return []Step{
		lead(Talk, 10, false),
		rinse(Wash, 5),
		lead(Prep, 5, false),
		lead(Apply, 0, true),
		watch(Process),
		rinse(Rinse1, 5),
		dry(Dry1),
		lead(Iron, 10, true),
		lead(Neutral, 0, true),
		watch(Dwell),
		rinse(Rinse2, 10),
		dry(Dry2),
		lead(Finish, 5, true),
		lead(Close, 0, false),
	}
}
