package scheduling

// stepWords are the steps that an estimate gives minutes for, as people in a
// salon call them. A rinse between two batches does the same as the last one.
var stepWords = map[StepKind]string{
	Talk:       "consultation",
	Wash:       "wash",
	Prep:       "detangle and part",
	Apply:      "apply solution",
	Process:    "processing",
	Apply1:     "apply solution to roots and mid-lengths",
	Process1:   "first processing",
	Check1:     "first check of a strand",
	Apply2:     "apply solution to the ends",
	Process2:   "second processing",
	Check2:     "second check of a strand",
	RinseShort: "rinse solution",
	Rinse1:     "rinse solution",
	Dry1:       "dry before ironing",
	Iron:       "iron",
	Neutral:    "neutralize",
	Dwell:      "neutralizer working",
	Rinse2:     "rinse neutralizer",
	Dry2:       "dry",
	Finish:     "finish with the iron",
	Close:      "aftercare and pay",
}

// Words names the step wherever people read it; a kind that a salon made up
// names itself.
func (k StepKind) Words() string {
	if s, ok := stepWords[k]; ok {
		return s
	}
	return string(k)
}
