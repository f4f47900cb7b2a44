package quoting_test

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/quoting"
)

var euro = quoting.Words{Currency: "EUR"}

// priceList is a list by the bands of length that are in use; the prices are
// invented.
func priceList() quoting.Rule {
	return quoting.Rule{By: quoting.ByBand, Helper: 4000, Bands: []quoting.Band{
		{UpTo: 25, Low: 18000, Medium: 21000, High: 24000},
		{UpTo: 40, Low: 26000, Medium: 30000, High: 35000},
		{Low: 36000, Medium: 42000, High: 50000},
	}}
}

// All prices are invented; each sum is worked out by hand, as its working is printed.
func TestAPriceAndItsWorking(t *testing.T) {
	minutes := quoting.Rule{By: quoting.ByMinute, PerMinute: 110, SolutionPer100ML: 1200, RoundUpTo: 1000}
	hair := quoting.Work{Minutes: 270, Length: 35, Density: quoting.Medium, SolutionML: 108, NeutralizerML: 108}
	with := func(f func(*quoting.Work)) quoting.Work {
		w := hair
		f(&w)
		return w
	}
	for _, tt := range []struct {
		name  string
		rule  quoting.Rule
		work  quoting.Work
		words quoting.Words
		want  quoting.Price
	}{
		{"by the minute with product, rounded up", minutes, hair, euro,
			quoting.Price{Cents: 31000, Working: "270 min × 1.10 = 297.00; 108 ml solution × 12.00 per 100 ml = 12.96; together 309.96, rounded up to 310.00"}},
		{"by the minute alone", quoting.Rule{By: quoting.ByMinute, PerMinute: 110}, hair, euro, quoting.Price{Cents: 29700, Working: "270 min × 1.10 = 297.00"}},
		{"half a cent is rounded up", quoting.Rule{By: quoting.ByMinute, PerMinute: 110, SolutionPer100ML: 1250},
			with(func(w *quoting.Work) { w.SolutionML = 109 }), euro,
			quoting.Price{Cents: 31063, Working: "270 min × 1.10 = 297.00; 109 ml solution × 12.50 per 100 ml = 13.625; together 310.625, rounded to 310.63"}},
		{"rounded once, not part by part", quoting.Rule{By: quoting.ByMinute, PerMinute: 1, SolutionPer100ML: 1, NeutralizerPer100ML: 1},
			with(func(w *quoting.Work) { w.Minutes, w.SolutionML, w.NeutralizerML = 1, 49, 49 }), euro,
			quoting.Price{Cents: 2, Working: "1 min × 0.01 = 0.01; 49 ml solution × 0.01 per 100 ml = 0.0049; 49 ml neutralizer × 0.01 per 100 ml = 0.0049; together 0.0198, rounded to 0.02"}},
		{"at least", quoting.Rule{By: quoting.ByMinute, PerMinute: 110, Least: 30001, RoundUpTo: 500}, hair, euro,
			quoting.Price{Cents: 30500, Working: "270 min × 1.10 = 297.00, but at least 300.01, rounded up to 305.00"}},
		{"a helper by the minute", quoting.Rule{By: quoting.ByMinute, PerMinute: 110, Helper: 2500},
			with(func(w *quoting.Work) { w.Hands = 2 }), euro,
			quoting.Price{Cents: 32200, Working: "270 min × 1.10 = 297.00; second pair of hands 25.00; together 322.00"}},
		{"yen have no decimals", quoting.Rule{By: quoting.ByMinute, PerMinute: 110, SolutionPer100ML: 1250}, hair, quoting.Words{Currency: "JPY"},
			quoting.Price{Cents: 31050, Working: "270 min × 110 = 29700; 108 ml solution × 1250 per 100 ml = 1350; together 31050"}},
		{"dinars have three", quoting.Rule{By: quoting.ByMinute, PerMinute: 110}, hair, quoting.Words{Currency: "KWD"},
			quoting.Price{Cents: 29700, Working: "270 min × 0.110 = 29.700"}},
		{"fixed", quoting.Rule{Fixed: 32000}, hair, euro, quoting.Price{Cents: 32000, Working: "fixed price 320.00"}},
		{"fixed with a helper", quoting.Rule{By: quoting.ByNothing, Fixed: 32000, Helper: 4000}, with(func(w *quoting.Work) { w.Hands = 2 }), euro,
			quoting.Price{Cents: 36000, Working: "fixed price 320.00; second pair of hands 40.00; together 360.00"}},
		{"a band between two", priceList(), hair, euro,
			quoting.Price{Cents: 30000, Working: "35 cm, an average amount of hair: longer than 25 cm, up to 40 cm = 300.00"}},
		{"the limit of a band belongs to it", priceList(), with(func(w *quoting.Work) { w.Length, w.Density = 25, quoting.High }), euro,
			quoting.Price{Cents: 24000, Working: "25 cm, a lot of hair: up to 25 cm = 240.00"}},
		{"the open band in inches, with a helper", priceList(), with(func(w *quoting.Work) { w.Length, w.Density, w.Hands = 60, quoting.Low, 2 }),
			quoting.Words{Currency: "USD", Inches: true},
			quoting.Price{Cents: 40000, Working: "23.6 in, little hair: longer than 15.7 in = 360.00; second pair of hands 40.00; together 400.00"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := tt.rule.Price(tt.work, tt.words)
			require.NoError(t, err)
			require.Equal(t, tt.want, got)
		})
	}
}

func TestARuleThatContradictsItselfIsNamed(t *testing.T) {
	bands := func(list ...quoting.Band) quoting.Rule { return quoting.Rule{By: quoting.ByBand, Bands: list} }
	for _, tt := range []struct {
		name string
		rule quoting.Rule
		want []string
	}{
		{"a kind that there is not", quoting.Rule{By: "weight"}, []string{"by"}},
		{"fixed with everything else", quoting.Rule{Fixed: 1, Bands: priceList().Bands, PerMinute: 1, SolutionPer100ML: 1, NeutralizerPer100ML: 1, Least: 1, RoundUpTo: 1},
			[]string{"bands", "cents_per_minute", "solution_cents_per_100_ml", "neutralizer_cents_per_100_ml", "least_cents", "round_up_to_cents"}},
		{"bands with minutes", quoting.Rule{By: quoting.ByBand, Bands: priceList().Bands, PerMinute: 1}, []string{"cents_per_minute"}},
		{"minutes with bands", quoting.Rule{By: quoting.ByMinute, PerMinute: 1, Bands: priceList().Bands}, []string{"bands"}},
		{"minutes for nothing", quoting.Rule{By: quoting.ByMinute}, []string{"cents_per_minute"}},
		{"no bands", bands(), []string{"bands"}},
		{"too many bands", bands(make([]quoting.Band, 21)...), []string{"bands"}},
		{"no open band", bands(quoting.Band{UpTo: 25}), []string{"bands[0].up_to_cm"}},
		{"open too early", bands(quoting.Band{}, quoting.Band{}), []string{"bands[0].up_to_cm"}},
		{"twice the same limit", bands(quoting.Band{UpTo: 25}, quoting.Band{UpTo: 25}, quoting.Band{}), []string{"bands[1].up_to_cm"}},
		{"falling limits", bands(quoting.Band{UpTo: 40}, quoting.Band{UpTo: 25}, quoting.Band{}), []string{"bands[1].up_to_cm"}},
		{"limits that no hair has", bands(quoting.Band{UpTo: 7.9}, quoting.Band{UpTo: 120}, quoting.Band{UpTo: math.NaN()}, quoting.Band{}),
			[]string{"bands[0].up_to_cm", "bands[1].up_to_cm", "bands[2].up_to_cm"}},
		{"absurd amounts", quoting.Rule{By: quoting.ByBand, Helper: -1, Bands: []quoting.Band{{Low: -1, Medium: quoting.MostCents + 1, High: math.MaxInt64}}},
			[]string{"bands[0].low_cents", "bands[0].medium_cents", "bands[0].high_cents", "helper_cents"}},
		{"absurd minutes", quoting.Rule{By: quoting.ByMinute, PerMinute: 1_000_001, SolutionPer100ML: 10_000_001, NeutralizerPer100ML: -1, Least: -1, RoundUpTo: 1_000_001},
			[]string{"cents_per_minute", "solution_cents_per_100_ml", "neutralizer_cents_per_100_ml", "least_cents", "round_up_to_cents"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, fields(tt.rule.Validate()))
			_, err := tt.rule.Price(quoting.Work{Minutes: 60, Length: 30, Density: quoting.Low}, euro)
			require.Error(t, err)
		})
	}
}

// fields are the places of faults.
func fields(err error) []string {
	many, _ := errors.AsType[scheduling.Faults](err)
	var out []string
	for _, f := range many {
		out = append(out, f.Field)
	}
	return out
}

func TestWorkThatCannotBeIsNamed(t *testing.T) {
	_, err := priceList().Price(quoting.Work{Minutes: 1441, Length: 7, Density: "thick", SolutionML: -1, NeutralizerML: 20_001}, euro)
	require.Equal(t, []string{"minutes", "solution_ml", "neutralizer_ml", "length_cm", "density"}, fields(err))
	_, err = quoting.Rule{By: quoting.ByMinute, PerMinute: 1_000_000}.Price(quoting.Work{Minutes: 101}, euro)
	require.ErrorContains(t, err, "comes to 1010000.00 EUR")
}

// draw makes a right rule of any kind.
func draw(r *rand.Rand) quoting.Rule {
	some := func(most int64) int64 { return r.Int64N(most + 1) }
	x := quoting.Rule{Helper: some(10_000)}
	switch r.IntN(3) {
	case 0:
		x.Fixed = some(90_000)
	case 1:
		x.By = quoting.ByBand
		up := 8.0
		for range r.IntN(6) {
			up += float64(1+r.IntN(36)) / 2
			x.Bands = append(x.Bands, quoting.Band{UpTo: up, Low: some(90_000), Medium: some(90_000), High: some(90_000)})
		}
		x.Bands = append(x.Bands, quoting.Band{Low: some(90_000), Medium: some(90_000), High: some(90_000)})
	default:
		x.By, x.PerMinute, x.SolutionPer100ML, x.NeutralizerPer100ML = quoting.ByMinute, 1+some(500), some(3000), some(3000)
		x.Least, x.RoundUpTo = some(50_000), []int64{0, 1, 5, 100, 500, 1000}[r.IntN(6)]
	}
	return x
}

func drawWork(r *rand.Rand) quoting.Work {
	return quoting.Work{Minutes: 1 + r.IntN(1440), Hands: 1 + r.IntN(2), Length: 8 + float64(r.IntN(225))/2,
		Density: []quoting.Density{quoting.Low, quoting.Medium, quoting.High}[r.IntN(3)], SolutionML: r.IntN(600), NeutralizerML: r.IntN(600)}
}

// slowPrice says the same in fractions, and looks through all bands.
func slowPrice(t *testing.T, x quoting.Rule, w quoting.Work) int64 {
	helper := int64(0)
	if w.Hands == 2 {
		helper = x.Helper
	}
	switch x.By {
	case quoting.ByBand:
		var found []int64
		below := 0.0
		for _, b := range x.Bands {
			if w.Length > below && (b.UpTo == 0 || w.Length <= b.UpTo) {
				found = append(found, map[quoting.Density]int64{quoting.Low: b.Low, quoting.Medium: b.Medium, quoting.High: b.High}[w.Density])
			}
			below = b.UpTo
		}
		require.Len(t, found, 1, "every hair has one price")
		return found[0] + helper
	case quoting.ByMinute:
		sum := big.NewRat(int64(w.Minutes)*x.PerMinute+helper, 1)
		sum.Add(sum, big.NewRat(int64(w.SolutionML)*x.SolutionPer100ML, 100))
		sum.Add(sum, big.NewRat(int64(w.NeutralizerML)*x.NeutralizerPer100ML, 100))
		sum.Add(sum, big.NewRat(1, 2))
		v := max(new(big.Int).Div(sum.Num(), sum.Denom()).Int64(), x.Least)
		for x.RoundUpTo > 0 && v%x.RoundUpTo != 0 {
			v++
		}
		return v
	case quoting.ByNothing:
	}
	return x.Fixed + helper
}

func TestPricesAgreeWithFractions(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	for range 3000 {
		x, w := draw(r), drawWork(r)
		p, err := x.Price(w, euro)
		require.NoError(t, err, "seed %d: %+v %+v", seed, x, w)
		require.Equal(t, slowPrice(t, x, w), p.Cents, "seed %d: %+v %+v: %s", seed, x, w, p.Working)
		require.Contains(t, p.Working, quoting.Amount(p.Cents, "EUR")[:len(quoting.Amount(p.Cents, "EUR"))-4], "seed %d: the working ends at the price", seed)
	}
}

func TestMoreMinutesOrProductNeverCostLess(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	for range 3000 {
		x, w := draw(r), drawWork(r)
		more := w
		more.Minutes = min(1440, w.Minutes+r.IntN(60))
		more.SolutionML, more.NeutralizerML, more.Hands = w.SolutionML+r.IntN(50), w.NeutralizerML+r.IntN(50), max(w.Hands, 1+r.IntN(2))
		a, err := x.Price(w, euro)
		require.NoError(t, err)
		b, err := x.Price(more, euro)
		require.NoError(t, err)
		require.GreaterOrEqual(t, b.Cents, a.Cents, "seed %d: %+v: %+v, %+v", seed, x, w, more)
	}
}

func TestADepositIsAShareOrASumAndNeverMoreThanThePrice(t *testing.T) {
	for _, tt := range []struct {
		rule  quoting.DepositRule
		total int64
		want  quoting.Price
	}{
		{quoting.DepositRule{}, 31000, quoting.Price{}},
		{quoting.DepositRule{Percent: 50}, 0, quoting.Price{}},
		{quoting.DepositRule{Percent: 50}, 31000, quoting.Price{Cents: 15500, Working: "50 % of 310.00 = 155.00"}},
		{quoting.DepositRule{Percent: 25}, 30002, quoting.Price{Cents: 7501, Working: "25 % of 300.02 = 75.01"}},
		{quoting.DepositRule{Cents: 5000}, 31000, quoting.Price{Cents: 5000, Working: "50.00"}},
		{quoting.DepositRule{Cents: 5000}, 3900, quoting.Price{Cents: 3900, Working: "the whole price of 39.00"}},
	} {
		require.Equal(t, tt.want, tt.rule.Of(tt.total, euro))
	}
	require.NoError(t, quoting.DepositRule{Percent: 100}.Validate())
	require.Equal(t, []string{"percent", "cents"}, fields(quoting.DepositRule{Percent: 101, Cents: -1}.Validate())[:2])
	require.Equal(t, []string{"cents"}, fields(quoting.DepositRule{Percent: 1, Cents: 1}.Validate()))
}
