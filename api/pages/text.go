package pages

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Longest text taken from one field, in characters (judgement). Names and step words are
// far shorter; the bound keeps a board readable when somebody pastes a page.
const maxText = 300

// clean makes s fit for a drawing: broken bytes become U+FFFD, control and
// direction-changing characters go, any run of white space becomes one space,
// and no letter keeps more than three combining marks (more would reach into
// the row above).
func clean(s string) string {
	if plain(s) {
		return s
	}
	var b strings.Builder
	marks, n, space := 0, 0, false
	for _, r := range s {
		switch {
		case unicode.IsSpace(r):
			space = b.Len() > 0
			continue
		case dropped(r):
			continue
		case unicode.In(r, unicode.Mn, unicode.Me):
			if marks++; marks > 3 {
				continue
			}
		default:
			marks = 0
		}
		if n++; n > maxText {
			b.WriteRune('…')
			break
		}
		if space {
			b.WriteByte(' ')
			space = false
		}
		b.WriteRune(r)
	}
	return b.String()
}

// plain tells text that clean would leave as it is, which most is.
func plain(s string) bool {
	last := byte(' ')
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' || c == ' ' && last == ' ' {
			return false
		}
		last = s[i]
	}
	return len(s) <= maxText && (s == "" || last != ' ')
}

// dropped tells characters that draw nothing or change how others are drawn.
// The two joiners stay, since some scripts need them.
func dropped(r rune) bool {
	if r == '\u200c' || r == '\u200d' {
		return false
	}
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Cs, unicode.Co) || r == '\ufffe' || r == '\uffff'
}

// Marks around a name that runs from right to left, so that its own full stop
// and the words beside it stay where they belong (Unicode Bidirectional
// Algorithm, isolates).
const (
	startName = '\u2068'
	endName   = '\u2069'
)

// whose is a client's code or another name from data, for a place between other
// words.
func whose(s string) string {
	s = clean(s)
	if strings.ContainsFunc(s, rightToLeft) {
		return string(startName) + s + string(endName)
	}
	return s
}

// rightToLeft tells letters of the scripts that run from right to left.
func rightToLeft(r rune) bool {
	return r >= 0x590 && r < 0x900 || r >= 0xfb1d && r < 0xfe00 || r >= 0xfe70 && r < 0xff00 || r >= 0x10800 && r < 0x11000 || r >= 0x1e800 && r < 0x1f000
}

// boldWidths and plainWidths are the advance widths of U+0020 to U+007E in
// thousandths of an em, rounded up, read from the font files of DejaVu Sans:
// as wide as any font that browsers use for text on screens.
var (
	boldWidths = [95]uint16{
		349, 457, 521, 838, 696, 1002, 873, 307, 458, 458, 523, 838, 380, 416, 380, 366,
		696, 696, 696, 696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 581,
		1000, 774, 763, 734, 831, 684, 684, 821, 837, 373, 373, 775, 638, 996, 837, 851,
		733, 851, 771, 721, 683, 813, 774, 1104, 771, 725, 726, 458, 366, 458, 838, 500,
		500, 675, 716, 593, 716, 679, 436, 716, 712, 343, 343, 666, 343, 1042, 712, 688,
		716, 716, 494, 596, 479, 712, 652, 924, 646, 652, 583, 712, 366, 712, 838,
	}
	plainWidths = [95]uint16{
		318, 401, 460, 838, 637, 951, 780, 275, 391, 391, 500, 838, 318, 361, 318, 337,
		637, 637, 637, 637, 637, 637, 637, 637, 637, 637, 337, 337, 838, 838, 838, 531,
		1000, 685, 687, 699, 771, 632, 576, 775, 752, 295, 295, 656, 558, 863, 749, 788,
		604, 788, 695, 635, 611, 732, 685, 989, 686, 611, 686, 391, 337, 391, 838, 500,
		500, 613, 635, 550, 635, 616, 353, 635, 634, 278, 278, 580, 278, 975, 634, 612,
		635, 635, 412, 521, 393, 634, 592, 818, 592, 592, 525, 637, 337, 637, 838,
	}
)

// widthMargin covers fonts a little wider than the tables.
const widthMargin = 1.04

// textWidth returns how wide s is at most when written in size units, and
// whether that is sure. It is not sure for scripts outside the tables: the
// drawing then makes the browser squeeze the text into that width.
func textWidth(s string, size float64, bold bool) (width float64, sure bool) {
	mille := 0
	sure = true
	for _, r := range s {
		w, ok := runeWidth(r, bold)
		mille += w
		sure = sure && ok
	}
	return float64(mille) / 1000 * size * widthMargin, sure
}

// runeWidth returns the width of r in thousandths of an em. The figures beyond
// ASCII are the widest letter of the group in DejaVu Sans Bold, rounded up;
// common punctuation has its own.
func runeWidth(r rune, bold bool) (mille int, sure bool) {
	switch {
	case r >= ' ' && r <= '~' && bold:
		return int(boldWidths[r-' ']), true
	case r >= ' ' && r <= '~':
		return int(plainWidths[r-' ']), true
	case r == '·' || r == '’' || r == '‘':
		return 400, true
	case r == '–' || r == '\u2002':
		return 500, true
	case r == startName || r == endName:
		return 0, true
	case r == '…' || r == '—':
		return 1000, true
	case r < 0x80 || unicode.In(r, unicode.Mn, unicode.Me) || r == '\u200c' || r == '\u200d':
		return 0, r >= 0x80
	case r < 0x250:
		if unicode.IsLower(r) {
			return 760, r != 'æ' && r != 'œ'
		}
		return 1170, true
	case r < 0x530:
		if unicode.IsLower(r) {
			return 1180, true
		}
		return 1410, true
	case r >= 0x5d0 && r <= 0x5ea || r == 0x5be:
		return 760, true
	case unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Hangul):
		return 1100, true
	case r >= 0x600 && r < 0x700, r >= 0x900 && r < 0x980, r >= 0xe00 && r < 0xe80,
		r >= 0x1e00 && r < 0x2000, r >= 0x1f300 && r < 0x1fb00:
		return 1400, true
	default:
		return 1400, false
	}
}

// shorten returns the longest start of s that fits into width, with an
// ellipsis when something was left out. It may be "".
func shorten(s string, size float64, bold bool, width float64) string {
	if w, _ := textWidth(s, size, bold); w <= width {
		return s
	}
	for s != "" {
		_, n := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-n]
		t := strings.TrimRight(s, " ,.·") + "…"
		if w, _ := textWidth(t, size, bold); w <= width && s != "" {
			return t
		}
	}
	return ""
}

// nameWidth is the room for a name left of the ground lines.
const nameWidth = nameRight - 12

// wrapName breaks a bold name at spaces and hyphens into at most lines rows that
// fit into nameWidth. What does not fit is shortened.
func wrapName(s string, size float64, lines int) []string {
	var rows []string
	rest := s
	for rest != "" && len(rows) < lines-1 {
		head, tail := splitAt(rest, size, nameWidth)
		if head == "" {
			break
		}
		rows = append(rows, head)
		rest = tail
	}
	if rest != "" {
		if last := shorten(rest, size, true, nameWidth); last != "" {
			rows = append(rows, last)
		}
	}
	return rows
}

// splitAt cuts bold s at the last space, or behind the last hyphen, before which it
// fits into width; head is "" when even the first word is too wide.
func splitAt(s string, size, width float64) (head, tail string) {
	if w, _ := textWidth(s, size, true); w <= width {
		return s, ""
	}
	for i := 0; i < len(s); i++ {
		end := i
		switch s[i] {
		case ' ':
		case '-':
			end++
		default:
			continue
		}
		if w, _ := textWidth(s[:end], size, true); w > width {
			break
		}
		head, tail = s[:end], s[i+1:]
	}
	return head, tail
}

// Capital is s with a capital letter in front.
func Capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}
