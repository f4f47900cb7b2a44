package products_test

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/products"
)

// The figure of each limit stands in the source beside it; that of a second caution is
// Reg. (EC) 1223/2009 Annex III entry 15a for hydroxide: 2 % for general use, and 4.5 % for
// professional use from memory.
func TestALabelWithinTheLimitsHasNoCautionAndOneBeyondHas(t *testing.T) {
	thio := "Reg. (EC) 1223/2009 Annex III entry 2a"
	ester := "Reg. (EC) 1223/2009 Annex III entry 2b"
	for _, tt := range []struct {
		name  string
		label products.Label
		codes []string
		from  string // source of the first
	}{
		{"nothing copied", products.Label{}, nil, ""},
		{"general use", products.Label{Thioglycolic: new(8.0), PH: new(9.5)}, nil, ""},
		{"too much for general use", products.Label{Thioglycolic: new(8.1), PH: new(9.2)}, []string{"thioglycolic_acid"}, thio},
		{"professional use", products.Label{Thioglycolic: new(11.0), PH: new(7.0), Professional: true}, nil, ""},
		{"too much for anybody", products.Label{Thioglycolic: new(11.1), PH: new(9.0), Professional: true}, []string{"thioglycolic_acid"}, thio},
		{"too alkaline", products.Label{Thioglycolic: new(7.0), PH: new(9.6)}, []string{"thioglycolic_acid_ph"}, thio},
		{"too acid", products.Label{Thioglycolic: new(7.0), PH: new(6.5)}, []string{"thioglycolic_acid_ph"}, thio},
		{"no pH", products.Label{Thioglycolic: new(7.0)}, []string{"thioglycolic_acid_ph"}, thio},
		{"esters sensitise and may be more acid", products.Label{Ester: new(8.0), PH: new(6.0)}, []string{"thioglycolate_ester"}, ester},
		{"esters above the limit", products.Label{Ester: new(12.0), PH: new(5.9)}, []string{"thioglycolate_ester", "thioglycolate_ester_ph", "thioglycolate_ester"}, ester},
		{"peroxide at the limit", products.Label{Peroxide: new(12.0)}, nil, ""},
		{"peroxide above", products.Label{Peroxide: new(12.1)}, []string{"peroxide"}, "Reg. (EC) 1223/2009 Annex III entry 12 as replaced by Reg. (EU) 2019/831"},
		{"ammonia", products.Label{Ammonia: new(6.01)}, []string{"ammonia"}, "Reg. (EC) 1223/2009 Annex III entry 4"},
		{"bromate at the limit", products.Label{Bromate: new(10.17)}, nil, ""},
		{"bromate above", products.Label{Bromate: new(10.18)}, []string{"bromate"}, "Cosmetic Ingredient Review conclusion"},
		{"hydroxide", products.Label{Hydroxide: new(2.0)}, []string{"sodium_hydroxide_hair"}, "state examination text"},
		{"hydroxide above", products.Label{Hydroxide: new(2.5)}, []string{"sodium_hydroxide_hair", "sodium_hydroxide"}, "state examination text"},
		{"hydroxide for professionals", products.Label{Hydroxide: new(4.5), Professional: true}, []string{"sodium_hydroxide_hair"}, "state examination text"},
		{"hydroxide for nobody", products.Label{Hydroxide: new(4.6), Professional: true}, []string{"sodium_hydroxide_hair", "sodium_hydroxide"}, "state examination text"},
		{"formaldehyde", products.Label{Formaldehyde: new(0.0005)}, []string{"formaldehyde"}, "Reg. (EC) 1223/2009 Annex II entry 1577; Reg. (EU) 2022/1181"},
		{"glyoxylic acid", products.Label{Glyoxylic: true}, []string{"glyoxylic_acid"}, "French agency ANSES"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.NoError(t, tt.label.Validate())
			var codes []string
			for _, c := range tt.label.Cautions() {
				codes = append(codes, c.Code)
				require.Contains(t, c.Text, c.Source)
			}
			require.Equal(t, tt.codes, codes)
			if len(codes) > 0 {
				require.Equal(t, tt.from, tt.label.Cautions()[0].Source)
			}
		})
	}
	got := products.Label{Thioglycolic: new(9.0), PH: new(9.2)}.Cautions()[0].Text
	require.Equal(t, "9 % thioglycolic acid and salts, as acid: above the limit of 8 % for general use; up to 11 % only with the label “for professional use only” "+
		"(Reg. (EC) 1223/2009 Annex III entry 2a). Re-read the current text before you rely on it.", got)
}

func TestFiguresThatNoLabelHasAreNamed(t *testing.T) {
	err := products.Label{Thioglycolic: new(101.0), Ester: new(-1.0), PH: new(14.1), Peroxide: new(math.NaN()), Ammonia: new(math.Inf(1)), Hydroxide: new(-0.1),
		Bromate: new(200.0), Formaldehyde: new(-1.0), DryBefore: new(49.0), Processing: new(0), Longest: new(121), Neutralizer: new(-3)}.Validate()
	many, _ := errors.AsType[scheduling.Faults](err)
	require.Len(t, many, 12)
	err = products.Label{Processing: new(20), Longest: new(15)}.Validate()
	require.ErrorContains(t, err, "processing_minutes is 20, longer than the 15 that the product may stay on")
}

func TestWhatTheMakerHasToBeAskedFor(t *testing.T) {
	require.Len(t, products.Label{}.Missing(products.Solution), 3)
	require.Equal(t, []string{"how long the neutralizer works"}, products.Label{}.Missing(products.Neutralizer))
	require.Empty(t, products.Label{}.Missing(products.Other))
	require.Empty(t, products.Label{Processing: new(15), Longest: new(30), DryBefore: new(80.0)}.Missing(products.Solution))
	require.Empty(t, products.Label{Neutralizer: new(5)}.Missing(products.Neutralizer))
}
