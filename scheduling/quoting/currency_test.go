package quoting_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/quoting"
)

func TestMinorUnitsOfACurrency(t *testing.T) {
	// ISO 4217, from memory; Unicode CLDR agrees with each of these.
	for code, digits := range map[string]int{"EUR": 2, "USD": 2, "GBP": 2, "CHF": 2, "INR": 2, "BRL": 2, "ZAR": 2, "AUD": 2,
		"JPY": 0, "KRW": 0, "ISK": 0, "XOF": 0, "VND": 0, "CLP": 0, "PYG": 0, "UGX": 0,
		"KWD": 3, "BHD": 3, "OMR": 3, "JOD": 3, "TND": 3, "LYD": 3} {
		got, known := quoting.MinorDigits(code)
		require.True(t, known, code)
		require.Equal(t, digits, got, code)
	}
	for _, code := range []string{"", "eur", "XXX", "QQQ", "EURO"} {
		_, known := quoting.MinorDigits(code)
		require.False(t, known, code)
	}
}

func TestAmountsHaveTheDecimalsOfTheirCurrency(t *testing.T) {
	for _, tt := range []struct {
		cents int64
		code  string
		want  string
	}{
		{29700, "EUR", "297.00 EUR"},
		{5, "EUR", "0.05 EUR"},
		{0, "GBP", "0.00 GBP"},
		{-1250, "GBP", "-12.50 GBP"},
		{29700, "JPY", "29700 JPY"},
		{0, "JPY", "0 JPY"},
		{29700, "KWD", "29.700 KWD"},
		{7, "KWD", "0.007 KWD"},
	} {
		require.Equal(t, tt.want, quoting.Amount(tt.cents, tt.code))
	}
}

func TestAnAmountIsReadAsPeopleTypeIt(t *testing.T) {
	for _, x := range []struct {
		text, code string
		want       int64
		ok         bool
	}{
		{"25", "EUR", 2500, true}, {"25.50", "EUR", 2550, true}, {"25,5", "EUR", 2550, true}, {" 1 200 ", "EUR", 120000, true}, {"0", "EUR", 0, true}, {"5.", "EUR", 500, true},
		{"1200", "JPY", 1200, true}, {"1.500", "KWD", 1500, true}, {"999999999", "EUR", 99999999900, true},
		{"", "EUR", 0, false}, {".", "EUR", 0, false}, {".5", "EUR", 0, false}, {"25.505", "EUR", 0, false}, {"1200.5", "JPY", 0, false},
		{"1.200,50", "EUR", 0, false}, {"-3", "EUR", 0, false}, {"+3", "EUR", 0, false}, {"1e3", "EUR", 0, false}, {"٣", "EUR", 0, false}, {"9999999999", "EUR", 0, false},
	} {
		got, ok := quoting.Read(x.text, x.code)
		require.Equal(t, x.ok, ok, "%q", x.text)
		require.Equal(t, x.want, got, "%q", x.text)
	}
}
