package quoting

import (
	"fmt"
	"strconv"
	"strings"
)

// minorDigits are the codes of currencies in use, by the decimals of their minor
// unit: ISO 4217, from memory. The currency data of Unicode CLDR agrees, but that
// it leaves out the decimals of minor units that are out of use, such as AFN and
// IQD. Codes of funds, metals and tests are left out.
var minorDigits = map[int]string{
	0: `BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF`,
	2: `AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CNY COP CRC CUP CVE
		CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD
		KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP
		PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH
		USD UYU UZS VED VES WST XCD XCG YER ZAR ZMW ZWG`,
	3: `BHD IQD JOD KWD LYD OMR TND`,
}

var currencies = func() map[string]int {
	out := map[string]int{}
	for digits, codes := range minorDigits {
		for _, c := range strings.Fields(codes) {
			out[c] = digits
		}
	}
	return out
}()

// MinorDigits is how many decimals the minor unit of a currency has: 2 where 100
// of them make one, 0 where there is none. It reports false, and 2, for a code
// that no currency in use has.
func MinorDigits(code string) (int, bool) {
	d, ok := currencies[code]
	if !ok {
		return 2, false
	}
	return d, true
}

// Amount writes minor units with the code of their currency: "297.00 EUR",
// "29700 JPY", "29.700 KWD".
func Amount(cents int64, code string) string { return Plain(cents, code) + " " + code }

// Plain writes minor units without the code.
func Plain(cents int64, code string) string {
	digits, _ := MinorDigits(code)
	return decimal(cents, digits, digits)
}

// decimal writes v, counted in units of 10 to the power of -places, with at
// least so many decimals; zeros behind them are left out.
func decimal(v int64, places, least int) string {
	sign := ""
	if v < 0 {
		sign = "-"
	}
	s := strings.TrimPrefix(strconv.FormatInt(v, 10), "-")
	s = fmt.Sprintf("%0*s", places+1, s)
	whole, rest := s[:len(s)-places], s[len(s)-places:]
	for len(rest) > least && strings.HasSuffix(rest, "0") {
		rest = rest[:len(rest)-1]
	}
	if rest != "" {
		whole += "." + rest
	}
	return sign + whole
}

// Read reads an amount of money as people type it, such as "25", "25.50", "25,50" or
// "1 200", in the smallest unit of the currency, up to 999,999,999 whole ones. It is
// false for everything else, more digits behind the point than the currency has among
// them.
func Read(text, code string) (cents int64, ok bool) {
	digits, _ := MinorDigits(code)
	text = strings.Join(strings.Fields(text), "")
	whole, rest, _ := strings.Cut(strings.Replace(text, ",", ".", 1), ".")
	if whole == "" || len(whole) > 9 || len(rest) > digits ||
		strings.ContainsFunc(whole+rest, func(r rune) bool { return r < '0' || r > '9' }) {
		return 0, false
	}
	n, err := strconv.ParseInt(whole+rest+strings.Repeat("0", digits-len(rest)), 10, 64)
	return n, err == nil
}
