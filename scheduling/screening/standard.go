package screening

// Where the rules come from. None of them is a product maker's direction, which
// always comes first.
const (
	fromExam     = "a state-exam text for the trade"
	fromTrade    = "a trade page; that metal and peroxide can heat is common practice, no source"
	fromCommon   = "common practice, no source"
	fromJudgment = "trade judgement, no source, not measured"
	fromPerms    = "J Soc Cosmet Chem 44(6) (1993) p. 362: each perm, and bleach, weakens hair"
	fromAgencies = "formaldehyde: Regulation (EU) 2022/1181; glyoxylic acid: warning of the French agency ANSES; that the licensed person decides is trade judgement"
	fromClinics  = "clinics' pages: the evidence is thin, several advise waiting past the first trimester"
	fromColour   = "trade judgement, 14 days; pages seen ask for more, one for 6 months"
	fromExamList = "a state-exam text lists allergies among the essentials of a client's record; that the licensed person decides is trade judgement"
)

// consent1 is what the client agrees to, wording 1.
const consent1 = "I agree that the salon keeps these answers about my health and hair to decide whether a service is safe for me. " +
	"They are kept encrypted, only the stylist in charge and the owner can read them, and every reading is noted. " +
	"They are erased some time after my last visit, and at once when I withdraw this agreement, which I may do at any time."

// Questions that others of version 1 refer to.
const (
	straightened = "straightened"
	relaxer      = "relaxer"
	perm         = "perm"
	bleach       = "bleach"
	colour       = "colour"
	whereDone    = "where_done"
	nothingDone  = "nothing_done"
)

// doneBefore are the questions about what was done to the hair.
var doneBefore = []string{straightened, relaxer, perm, bleach, colour, "henna_metallic", "smoothing"}

const hydroxideWords = "Hydroxide and the straightening solution must not meet on the same hair, in either order: it can break off. " +
	"Not before a strand test and the licensed person's yes."

// standard1 is version 1 of the questions. It is never changed: what is kept in
// version 1 is read with it. A change is a version of its own.
var standard1 = append(append(history1[:len(history1):len(history1)], body1...), plan1...)

var history1 = []Question{
	{ID: straightened, Kind: Choice, Text: "Was your hair straightened in the last three years?", For: "Two kinds of straightener on the same hair can break it off.",
		Choices: []Option{{No, "No"}, {"here", "Yes, here"}, {"elsewhere_known", "Yes, elsewhere, and I can say with what"},
			{"elsewhere_unknown", "Yes, elsewhere, I do not know with what"}, {NotSure, "Not sure"}},
		Rules: []Rule{
			{On: []string{"here"}, Level: Clear, Code: "straightened_here", Words: "Straightened here before: look at the record card.", Source: fromCommon},
			{On: []string{"elsewhere_known"}, Level: Ask, Code: "straightened_elsewhere", StrandTest: true,
				Words: "Straightened elsewhere: write down the product; the licensed person decides after a strand test.", Source: fromJudgment},
			{On: []string{"elsewhere_unknown", NotSure}, Level: DoNotBook, Code: "possible_hydroxide", StrandTest: true, Lift: true,
				Words: "Straightened with an unknown product counts as hydroxide. " + hydroxideWords, Source: fromExam + "; that unknown counts as hydroxide is trade judgement"},
		}},
	{ID: relaxer, Kind: YesNo, Text: "Was a relaxer used in the last three years, with lye, without lye or of another kind?", For: "Relaxers with hydroxide do not go with the straightening solution.",
		Rules: []Rule{{Level: DoNotBook, Code: "hydroxide", StrandTest: true, Lift: true, Words: hydroxideWords, Source: fromExam}}},
	{ID: "relaxer_planned", Kind: YesNo, Text: "Do you want a relaxer on this hair later, here or elsewhere?", For: "The other way round, a relaxer on straightened hair, is as dangerous.",
		Rules: []Rule{{Level: DoNotBook, Code: "hydroxide_after", StrandTest: true, Lift: true, Words: hydroxideWords, Source: fromExam}}},
	{ID: perm, Kind: YesNo, Text: "Was your hair permed or waved in the last three years?", For: "Every such treatment makes hair weaker.",
		Rules: []Rule{{Level: Ask, Code: perm, StrandTest: true, Words: "Permed hair is weaker: the licensed person decides after a strand test.", Source: fromPerms}}},
	{ID: bleach, Kind: YesNo, Text: "Was your hair bleached, lightened or highlighted in the last three years?", For: "Lightened hair can snap.",
		Rules: []Rule{{Level: Ask, Code: bleach, StrandTest: true, Words: "Bleached or highlighted hair may not stand it: the licensed person decides after a strand test.", Source: fromCommon + "; " + fromPerms}}},
	{ID: colour, Kind: YesNo, Text: "Was your hair coloured to last in the last three years?", For: "Colour makes hair more porous, and fresh colour can come out.",
		Rules: []Rule{{Level: Ask, Code: colour, StrandTest: true, Words: "Coloured hair takes up solution faster: the licensed person decides after a strand test.", Source: fromCommon}}},
	{ID: "coloured_on", Kind: Date, After: colour, Text: "When was it coloured last?", For: "Colour and straightening need two weeks between them.",
		Rules: []Rule{{Level: Ask, Code: "fresh_colour", Days: 14, Words: "Coloured less than 14 days ago.", Source: fromColour}}},
	{ID: "henna_metallic", Kind: YesNo, Text: "Was henna, a plant dye with metal in it, or a dye that darkens day by day used in the last three years?", For: "Metal in the hair can heat up and burn with the products.",
		Rules: []Rule{{Level: DoNotBook, Code: "metal_dye", Words: "Henna or dye with metal: not with these products until it has grown out and been cut off.", Source: fromTrade}}},
	{ID: "smoothing", Kind: YesNo, Text: "Was a smoothing treatment with formaldehyde or glyoxylic acid used in the last year?", For: "What it leaves behind changes how the solution works.",
		Rules: []Rule{{Level: Ask, Code: "smoothing", StrandTest: true, Words: "Smoothing treatment: the licensed person decides after a strand test.", Source: fromAgencies}}},
	{ID: whereDone, Kind: Choice, Text: "Where was all that done?", For: "What is in a box from a shop is often not known.",
		Choices: []Option{{nothingDone, "Nothing was done"}, {"salon", "In a salon"}, {"home", "At home, from a box"}, {"both", "Both"}, {NotSure, "Not sure"}},
		Rules: []Rule{{On: []string{"home", "both", NotSure}, Level: Ask, Code: "box_product", StrandTest: true,
			Words: "Done at home: find out what was in the box; the licensed person decides after a strand test.", Source: fromCommon}}},
	{ID: "extensions", Kind: YesNo, Text: "Do you have extensions, or bonds, glue or tape of earlier ones, in your hair?", For: "They melt, slip and hide the scalp.",
		Rules: []Rule{{Level: Ask, Code: "extensions", Words: "Extensions or bonds: they come out first; the licensed person looks at what is left.", Source: fromJudgment}}},
	{ID: "coating", Kind: YesNo, Text: "Was a coating, gloss or sealing treatment put on in the last two months?", For: "A coating keeps solution and water out in patches.",
		Rules: []Rule{{Level: Ask, Code: "coating", StrandTest: true, Words: "A coating makes the result patchy: the licensed person decides after a strand test.", Source: fromJudgment}}},
	{ID: "deposit", Kind: YesNo, Text: "Does your hair feel stiff or look greenish from pool water or hard water?", For: "Minerals in the hair disturb the products.",
		Rules: []Rule{{Level: Ask, Code: "deposit", StrandTest: true, Words: "Chlorine or hard-water deposit: it is taken off first; the licensed person decides after a strand test.", Source: fromJudgment}}},
}

var body1 = []Question{
	{ID: "reaction", Kind: YesNo, Text: "Did you ever react badly to a product for hair, or to a test of one?", For: "The next reaction can be stronger.",
		Rules: []Rule{{Level: Ask, Code: "reaction", Words: "An earlier reaction: a new skin test, and the licensed person decides.", Source: fromJudgment}}},
	{ID: "allergies", Kind: YesNo, Text: "Do you have an allergy?", For: "Some products share what people are allergic to.",
		Rules: []Rule{{Level: Ask, Code: "allergies", Words: "An allergy: compare it with what is in the products; the licensed person decides.", Source: fromExamList}}},
	{ID: "sensitive_eyes", Kind: YesNo, Text: "Are your eyes sensitive or sore?", For: "Vapour and splashes sting.",
		Rules: []Rule{{Level: Ask, Code: "sensitive_eyes", Words: "Sensitive eyes: the licensed person decides; shield them, air well.", Source: fromJudgment}}},
	{ID: "asthma", Kind: YesNo, Text: "Do you have asthma or other trouble breathing?", For: "Vapour can bring on an attack.",
		Rules: []Rule{{Level: Ask, Code: "asthma", Words: "Asthma: the licensed person decides; air well, stop at the first sign.", Source: fromJudgment}}},
	{ID: "medicines", Kind: YesNo, Text: "Do you take medicines, or did you in the last three months?", For: "Some change skin and hair.",
		Rules: []Rule{{Level: Ask, Code: "medicines", Words: "Medicines: the licensed person decides; the client may ask a pharmacist.", Source: fromCommon}}},
	{ID: "skin_trouble", Kind: YesNo, Text: "Do you have a skin or scalp condition, even if it is quiet now?", For: "It can flare up.",
		Rules: []Rule{{Level: Ask, Code: "skin_trouble", Words: "A skin or scalp condition: look at the scalp; the licensed person decides.", Source: fromCommon}}},
	{ID: "sore_scalp", Kind: YesNo, Text: "Is your scalp or the skin near it broken, sore, burnt or freshly injured?", For: "Product on broken skin burns.",
		Rules: []Rule{{Level: DoNotBook, Code: "sore_scalp", Words: "Broken, sore or diseased scalp: no product until it has healed.", Source: fromCommon}}},
	{ID: "hair_loss", Kind: YesNo, Text: "Are you losing hair, or did you have chemotherapy in the last year?", For: "Weak hair and new hair after it may not stand the treatment.",
		Rules: []Rule{{Level: Ask, Code: "hair_loss", StrandTest: true,
			Words: "Hair loss or recent chemotherapy: the client asks her own clinician; the licensed person decides after a strand test.", Source: fromJudgment}}},
	{ID: "lice_ringworm", Kind: YesNo, Text: "Could there be lice or ringworm, now or in the last two weeks?", For: "Everybody in the salon is kept safe. It happens to anybody.",
		Rules: []Rule{{Level: DoNotBook, Code: "rebook_kindly", Rebook: true,
			Words: "Offer another day kindly, once a pharmacist or clinician says that it is over. Clean tools and chair.", Source: fromJudgment}}},
	{ID: "pregnancy", Kind: YesNo, Text: "Are you pregnant or nursing?", For: "Little is known about these products then.",
		Rules: []Rule{{Level: Ask, Code: "pregnancy", Words: "Pregnant or nursing: please ask your clinician first; the licensed person decides after that.", Source: fromClinics}}},
	{ID: "scratched", Kind: YesNo, Text: "Was your scalp brushed hard or scratched in the last 24 hours?", For: "Product stings and burns on scratched skin.",
		Rules: []Rule{{Level: Ask, Code: "scratched", Days: 1, Words: "Scalp brushed or scratched within 24 hours: wait a day, or the licensed person decides.", Source: fromJudgment}}},
	{ID: "metal_on", Kind: YesNo, Text: "Do you wear a hearing aid, or metal jewellery at ears, neck or scalp?", For: "It comes off before product, water and iron.",
		Rules: []Rule{{Level: Clear, Code: "take_off", Words: "Hearing aid and metal jewellery come off before the service begins.", Source: fromJudgment}}},
}

var plan1 = []Question{
	{ID: "swimming", Kind: YesNo, Text: "Do you swim often?", For: "Hair stays dry for 48 hours afterwards, and pool water wears it.",
		Rules: []Rule{{Level: Clear, Code: "swimming", Words: "Swims: say that hair stays dry for 48 hours.", Source: fromCommon}}},
	{ID: "heat", Kind: YesNo, Text: "Do you use an iron or hot dryer on most days?", For: "It shows how worn the ends are.",
		Rules: []Rule{{Level: Clear, Code: "heat", Words: "Much heat: look at the ends.", Source: fromCommon}}},
	{ID: "oils", Kind: YesNo, Text: "Is there oil, butter or wax in your hair?", For: "It keeps the solution out.",
		Rules: []Rule{{Level: Clear, Code: "oils", Words: "Oils in the hair: wash twice, no conditioner.", Source: fromCommon}}},
	{ID: "last_wash", Kind: Date, Text: "When was your hair last washed?", For: "A scalp washed just now is easier to irritate."},
	{ID: "keeps_dry", Kind: Choice, Text: "Who keeps your hair dry and untied for 48 hours afterwards?", For: "Water and bends spoil it within 48 hours.",
		Choices: []Option{{"myself", "I do"}, {"with_help", "Somebody helps me"}, {"cannot", "It cannot be done then"}, {NotSure, "Not sure"}},
		Rules:   []Rule{{On: []string{"cannot", NotSure}, Level: Ask, Code: "not_dry", Words: "The hair may not stay dry for 48 hours: find a better day.", Source: fromCommon}}},
	{ID: "wanted", Kind: Text, Text: "What should it look like afterwards?", For: "So that what you expect and what is possible meet."},
	{ID: "details", Kind: Text, Optional: true, Text: "Anything else, such as names of products, allergies or medicines?", For: "It helps the licensed person to decide."},
}
