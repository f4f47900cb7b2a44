package notify

import (
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"chairblock/scheduling"
)

// plainSigns turns printers' signs into those that text messages know, since
// a single one of them would make every part less than half as long.
var plainSigns = strings.NewReplacer("‘", "'", "’", "'", "“", `"`, "”", `"`, "–", "-", "—", "-", "…", "...", "\u00a0", " ", "\u202f", " ", "−", "-")

// The default alphabet of text messages (3GPP TS 23.038 6.2.1) and its
// extension, whose signs take the room of two (6.2.1.1).
const (
	smsAlphabet = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?" +
		"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
	smsExtension = "\f^{}\\[~]|€"
)

// Room of a text message: one part has 160 letters of the default alphabet or
// 70 of UTF-16, and 153 or 67 when there are several (3GPP TS 23.040
// 9.2.3.24.1: the parts begin with six octets that join them).
const (
	smsOne, smsMany         = 160, 153
	smsOneUTF16, smsManyUTF = 70, 67
)

// Parts returns in how many parts a text message travels, each of which is
// charged: one part holds 160 letters of the alphabet of text messages, or 70
// when the text needs any other. The empty text has none.
func Parts(short string) int {
	letters, basic := 0, true
	for _, r := range short {
		switch {
		case strings.ContainsRune(smsAlphabet, r):
			letters++
		case strings.ContainsRune(smsExtension, r):
			letters += 2
		default:
			basic = false
		}
	}
	if basic {
		return inParts(letters, smsOne, smsMany)
	}
	return inParts(len(utf16.Encode([]rune(short))), smsOneUTF16, smsManyUTF)
}

func inParts(letters, one, many int) int {
	if letters <= one {
		return min(letters, 1)
	}
	return (letters + many - 1) / many
}

func characters(s string) int { return utf8.RuneCountInString(s) }

func tooLong(n int) error {
	var f scheduling.Faults
	f.Addf("short", "at most 459 characters", "has %d characters even with short names", n)
	return f[0]
}
