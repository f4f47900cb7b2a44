package passwords

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base32"
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/pquerna/otp"
	"github.com/pquerna/otp/hotp"
)

// Codes that change with time, as programs on telephones make them by default: six
// digits of HMAC-SHA-1 that change every 30 seconds (RFC 6238, whose 5.2 also advises
// to take the code before and after, for clocks that do not agree).
const (
	codeStep  = 30 // seconds
	codeDrift = 1  // steps
	codeSize  = 6  // digits
)

// secretBytes is the length of a secret: 160 bits, as RFC 4226 4 (R6) recommends.
const secretBytes = 20

var codeForm = hotp.ValidateOpts{Digits: otp.DigitsSix, Algorithm: otp.AlgorithmSHA1}

// NewSecret makes the secret of a second step.
func NewSecret() []byte {
	b := make([]byte, secretBytes)
	rand.Read(b) // documented never to fail
	return b
}

var base32Plain = base32.StdEncoding.WithPadding(base32.NoPadding)

// WrittenSecret is a secret as people type it: base32 in groups of four.
func WrittenSecret(secret []byte) string { return grouped(base32Plain.EncodeToString(secret)) }

// SecretAddress is what a code to be photographed holds: the secret and what a
// program on a telephone calls it. salon and login are names for people.
func SecretAddress(secret []byte, salon, login string) string {
	salon = strings.NewReplacer(":", " ", "%", " ").Replace(salon) // which end the name of the issuer
	v := url.Values{"secret": {base32Plain.EncodeToString(secret)}, "issuer": {salon}, "algorithm": {"SHA1"},
		"digits": {fmt.Sprint(codeSize)}, "period": {fmt.Sprint(codeStep)}}
	// Such programs do not read a plus sign as a space.
	return "otpauth://totp/" + url.PathEscape(salon) + ":" + url.PathEscape(login) + "?" + strings.ReplaceAll(v.Encode(), "+", "%20")
}

// StepOf finds the time step whose code was typed, among the one of at, the one before
// and the one after. Steps up to after count no more, so that no code is used twice;
// -1 leaves all.
func StepOf(secret []byte, code string, at time.Time, after int64) (step int64, ok bool) {
	code = digitsOf(code)
	now := at.Unix() / codeStep
	for n := now - codeDrift; n <= now+codeDrift; n++ {
		if n <= after || n < 0 {
			continue
		}
		want := CodeAt(secret, time.Unix(n*codeStep, 0))
		if subtle.ConstantTimeCompare([]byte(want), []byte(code)) == 1 {
			return n, true
		}
	}
	return 0, false
}

// CodeAt is the code that a telephone with a secret shows at a time, from 1970 on.
func CodeAt(secret []byte, at time.Time) string {
	code, err := hotp.GenerateCodeCustom(base32Plain.EncodeToString(secret), uint64(max(0, at.Unix())/codeStep), codeForm)
	if err != nil {
		panic(err) // the secret was just encoded
	}
	return code
}

// digitsOf is what was typed without the spaces that people put between digits.
func digitsOf(code string) string {
	return strings.Map(func(r rune) rune {
		if r == ' ' || r == '-' || r == '\u00a0' {
			return -1
		}
		return r
	}, code)
}

// LooksTimed reports whether what was typed is a code that changes with time, and not
// a recovery code.
func LooksTimed(code string) bool {
	d := digitsOf(code)
	return len(d) == codeSize && !strings.ContainsFunc(d, func(r rune) bool { return r < '0' || r > '9' })
}

// Recovery codes. OWASP ASVS 5.0 6.5.2 and NIST SP 800-63B (look-up secrets) want a
// slow, salted hash below 112 bits of entropy, and take a plain one from there on: 24
// characters of base32 have 120.
const (
	RecoveryCodes  = 10
	recoveryLetter = 24
)

// NewRecoveryCodes makes a set of recovery codes as people read them.
func NewRecoveryCodes() []string {
	out := make([]string, RecoveryCodes)
	for i := range out {
		b := make([]byte, recoveryLetter*5/8)
		rand.Read(b) // documented never to fail
		out[i] = grouped(base32Plain.EncodeToString(b))
	}
	return out
}

// FoldRecovery is a recovery code as it is compared, "" for what cannot be one: without
// what stands between letters, and with the letters for which people take the digits
// that base32 does not have.
func FoldRecovery(code string) string {
	code = strings.NewReplacer("0", "O", "1", "I", "8", "B").Replace(strings.ToUpper(digitsOf(code)))
	if len(code) != recoveryLetter || strings.ContainsFunc(code, func(r rune) bool { return (r < 'A' || r > 'Z') && (r < '2' || r > '7') }) {
		return ""
	}
	return code
}

// grouped puts a sign between each four letters.
func grouped(s string) string {
	var b strings.Builder
	for i, r := range s {
		if i > 0 && i%4 == 0 {
			b.WriteByte('-')
		}
		b.WriteRune(r)
	}
	return b.String()
}
