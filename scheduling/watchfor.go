package scheduling

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// Placeholders that a line to watch for may hold. They are filled with the
// salon's own figures, in its units, when the line is shown.
const (
	FigureOffScalp   = "off_scalp"         // distance that solution keeps from the scalp
	FigureDry        = "dry_before_iron"   // dryness before the iron, in percent
	FigureDryDamaged = "dry_damaged"       // the same on damaged hair
	FigureDwell      = "neutralizer_works" // how long neutralizer works
	FigureIronMax    = "iron_max"          // highest setting of the iron
	FigureIronTender = "iron_max_damaged"  // the same on damaged hair
)

var figures = []string{FigureOffScalp, FigureDry, FigureDryDamaged, FigureDwell, FigureIronMax, FigureIronTender}

var placeholder = regexp.MustCompile(`\{[^{}]*\}|[{}]`)

// Fill returns the lines with their placeholders replaced by what of names them
// says; one that is not known stays as it is.
func Fill(lines []string, of map[string]string) []string {
	if len(lines) == 0 {
		return nil
	}
	out := make([]string, len(lines))
	for i, line := range lines {
		if strings.IndexByte(line, '{') < 0 { // most have no placeholder
			out[i] = line
			continue
		}
		out[i] = placeholder.ReplaceAllStringFunc(line, func(s string) string {
			if text, ok := of[strings.Trim(s, "{}")]; ok {
				return text
			}
			return s
		})
	}
	return out
}

// checkWatchFor notes lines that are too many, too long or hold a placeholder
// that nothing fills.
func checkWatchFor(f *Faults, at string, st Step) {
	if n := len(st.WatchFor); n > MaxWatchFor {
		f.Addf(at+".watch_for", fmt.Sprintf("at most %d lines", MaxWatchFor), "has %d", n)
	}
	for i, line := range st.WatchFor {
		at := fmt.Sprintf("%s.watch_for[%d]", at, i)
		if n := len([]rune(line)); n > MaxWatchForLength {
			f.Addf(at, fmt.Sprintf("at most %d characters", MaxWatchForLength), "has %d characters", n)
		}
		for _, p := range placeholder.FindAllString(line, -1) {
			if !slices.Contains(figures, strings.Trim(p, "{}")) {
				f.Add(at, "holds a placeholder that nothing fills", "no braces but {"+strings.Join(figures, "}, {")+"}")
			}
		}
	}
}

// StandardWatchFor are the lines to watch for in a step of its kind until a salon
// writes its own; none for a kind that a salon made up. They are common
// practice, no source: the product maker's directions come first.
func StandardWatchFor(st Step) []string {
	if st.Kind == Wash && st.Formula != FormulaHead {
		return slices.Clone(ordinaryWash)
	}
	return slices.Clone(watchFor[st.Kind])
}

var ordinaryWash = []string{
	"Ask whether neck and water are comfortable.",
	"Fingertips, not nails; say so if the scalp is sore or broken.",
}

const gloves = "Gloves on."

var firstTalk = []string{
	"Ask again what was done to the hair in the last three years; not sure counts as yes.",
	"Look at the scalp: sore, broken, brushed hard or scratched in the last day means not today.",
	"Say how long it takes, and that the hair stays dry and untied afterwards.",
}

var watchFor = map[StepKind][]string{
	Talk: append(slices.Clone(firstTalk), "Hearing aid and metal jewellery off; food and toilet before the solution."),
	Wash: {
		"Tepid water and fingertips: do not scratch the scalp.",
		"No conditioner: it keeps the solution out.",
		"Blot, do not rub; damp, not dripping.",
	},
	Prep: {
		"Comb out from the ends upwards; hair that snaps now is not treated today.",
		"Four to five clean sections, clipped out of the way.",
		"Shield lengths that were treated before; barrier along hairline and ears.",
	},
	Apply: {
		gloves + " Note the minute of the first strand: the clock starts there.",
		"Start at the nape and work up, ends last; keep {off_scalp} off the scalp.",
		"Do not comb after applying; smooth with the fingers only.",
		"Burning or stinging: rinse at once.",
	},
	Apply1: {
		gloves + " Note the minute of the first strand: the clock starts there.",
		"Start at the nape and work up; keep {off_scalp} off the scalp.",
		"Roots and mid-lengths only: leave out the ends and what was treated before.",
		"Do not comb after applying. Burning or stinging: rinse at once.",
	},
	Process: {
		"Hands off: no combing, no heat unless the maker's directions ask for it.",
		"At each look stretch a wet strand from where you began.",
		"Ready, weak or gummy: rinse now, whatever the clock says.",
		"Never past the maker's longest time.",
	},
	Process1: {
		"Hands off: no combing, no heat unless the maker's directions ask for it.",
		"Weak or gummy before its time: rinse everything now.",
	},
	Check1: {
		"Stretch a wet strand from where you began: it gives and comes back when it is ready.",
		"Not ready: look again after the salon's minutes, never past the maker's longest time.",
		"Weak, gummy or snapping: rinse at once, no second stage.",
	},
	Apply2: {
		gloves + " Only the ends and what was left out; not again over the rest.",
		"Work quickly: the first stage goes on working.",
		"Do not comb after applying.",
	},
	Process2: {
		"The longest strand counts from the first stage: never past the maker's longest time.",
		"Look at the ends first; they take less time.",
	},
	Check2: {
		"Stretch a wet strand from the roots and one from the ends.",
		"Both ready: rinse now. Not ready: look again after the salon's minutes.",
		"Weak, gummy or snapping: rinse at once.",
	},
	RinseShort: {
		"Nape first; only the hair that has solution on.",
		"Keep the sections still to come dry and clipped away.",
	},
	Rinse1: {
		"Rinse the nape first: it was wetted first.",
		"Tepid water until nothing slippery is left; no shampoo.",
		"Let it hang: do not rub, twist or comb, the hair is at its weakest.",
		"In the eyes: rinse at once and get medical help.",
	},
	Dry1: {
		"Dry to {dry_before_iron}, damaged hair to {dry_damaged}, roots first.",
		"Straight down with moderate air; no brush that pulls.",
		"Cool and damp anywhere to the touch: not ready for the iron.",
	},
	Iron: {
		"Never slide a closed iron: press, open, move on.",
		"Tap at the roots, do not press there.",
		"Steam or a hiss: stop, dry more.",
		"Never above {iron_max}, damaged hair {iron_max_damaged}; the maker's figure goes first.",
	},
	Neutral: {
		gloves + " Saturate with neutralizer, section by section.",
		"Keep every strand straight: no clips, no tucking, no combing to and fro.",
		"Keep it out of the eyes.",
	},
	Dwell: {
		"{neutralizer_works}, or what the maker's directions say: not shorter, not longer.",
		"The hair hangs straight and is not moved.",
		"Wipe drips from face and neck.",
	},
	Rinse2: {
		"Nape first, tepid water, no shampoo, until the water runs clear.",
		"Let it hang: do not twist or bundle it.",
	},
	Dry2: {
		"Dry fully and straight down; no brush that bends it.",
		"Feel nape and behind the ears: no damp spot left.",
	},
	Finish: {
		"Completely dry first. Steam or a hiss: stop, dry more.",
		"One light pass, less heat than before; never slide a closed iron.",
		"Nothing that bends it: no tie, no tucking behind the ears.",
	},
	Close: {
		"Say until when the hair stays dry and untied, and what to do if it gets wet.",
		"Burning, blisters or hair that snaps: call us.",
		"Write iron setting and result on the card.",
	},
	"cut": {
		"Agree on the length before the first cut; take less, then look again.",
		"Compare both sides from the front.",
	},
	"dry": {
		"Keep the dryer moving and a hand's breadth off the scalp.",
		"Feel nape and behind the ears: no damp spot left.",
	},
	"colour": {
		gloves + " Skin test with this product read and clear?",
		"Only on the new growth; barrier along hairline and ears.",
		"Itching, burning or swelling: rinse at once.",
	},
	"colour_working": {
		"Set the timer by the maker's directions when the last strand is covered.",
		"Itching, burning or swelling: rinse at once and get help.",
	},
	"rinse": {
		gloves + " Nape first, until the water runs clear.",
		"Keep it out of the eyes.",
	},
	"treat": {
		"Lengths and ends; on the scalp only if the directions say so.",
		"Wide comb, from the ends upwards.",
	},
	"treat_working": {
		"Time and heat by the maker's directions.",
		"Ask whether it is comfortable: too warm or itching means rinse.",
	},
	"patch_test": {
		"The product and strength that will be used; note both.",
		"Clean, dry skin; say that it stays on and is not washed.",
		"Redness, itching or swelling: rinse and call us. No test counts for ever.",
	},
	"first_wash_check": {
		"Look at the hair as it falls, without iron or dryer: bends, marks at the roots, rough ends.",
		"Ask about the scalp; burning, blisters or hair that snaps is for the licensed person.",
		"Write down what you see; a correction is booked only with a strand test and the licensed yes.",
	},
	"consultation": append(slices.Clone(firstTalk), "Strand test on cut hair where the history or the feel asks for one."),
}
