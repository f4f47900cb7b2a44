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
// straightening in one stage and in two, its retouch, and an ordinary mix. Minutes of the ordinary
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
		{Name: "Straightening in two stages", Skill: SkillStraightening, Chemical: true, Aftercare: true, PriceCents: 36000,
			Families: []string{FamilyStraightening}, Steps: straighteningInTwoStages()},
		{Name: "First wash check", Skill: SkillStraightening, PriceCents: 0, Families: []string{FamilyFirstWash}, Steps: []Step{
			{Kind: "first_wash_check", Label: "look at the hair after its first wash", Who: ByLead, Where: AtChair, Minutes: 30, HandsOn: true},
		}},
		{Name: "Correction", Skill: SkillStraightening, Chemical: true, Aftercare: true, PriceCents: 0,
			Families: []string{FamilyStraightening, FamilyCorrection}, Steps: straightening()},
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
	return aroundSolution(leadStep(Apply, 0, true), watchStep(Process))
}

// straighteningInTwoStages lists the same with the ends, which are the oldest
// and take up solution soonest, wetted last. The stylist in charge stretches a
// wet strand at the end of each wait, at its minute and with no wait around it.
func straighteningInTwoStages() []Step {
	return aroundSolution(
		leadStep(Apply1, 0, true), watchStep(Process1), leadStep(Check1, 0, false),
		leadStep(Apply2, 0, true), watchStep(Process2), leadStep(Check2, 0, false))
}

// aroundSolution puts the steps before and after around those with solution.
func aroundSolution(solution ...Step) []Step {
	steps := append([]Step{
		leadStep(Talk, 10, false),
		rinseStep(Wash, 5),
		leadStep(Prep, 5, false),
	}, solution...)
	return append(steps,
		rinseStep(Rinse1, 5),
		dryStep(Dry1),
		leadStep(Iron, 10, true),
		leadStep(Neutral, 0, true),
		watchStep(Dwell),
		rinseStep(Rinse2, 10),
		dryStep(Dry2),
		leadStep(Finish, 5, true),
		leadStep(Close, 0, false),
	)
}

func leadStep(k StepKind, wait int, helper bool) Step {
	return Step{Kind: k, Label: k.Words(), Who: ByLead, Where: AtChair, Formula: FormulaHead, HandsOn: true, WaitMax: wait, Helper: helper}
}

func watchStep(k StepKind) Step {
	return Step{Kind: k, Label: k.Words(), Who: ByLead, Where: AtChair, Formula: FormulaHead, Watched: true}
}

func rinseStep(k StepKind, wait int) Step {
	return Step{Kind: k, Label: k.Words(), Who: ByAssistant, Where: AtBasin, Formula: FormulaHead, HandsOn: true, WaitMax: wait}
}

func dryStep(k StepKind) Step {
	return Step{Kind: k, Label: k.Words(), Who: ByAssistant, Where: AtChair, Formula: FormulaHead, HandsOn: true, WaitMax: 10, Helper: true}
}
