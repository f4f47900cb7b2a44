package store

import (
	"context"
	"strings"
	"time"
	"unicode"
)

// FoundClient is a client whom a search has found.
type FoundClient struct {
	Client
	Last *time.Time `db:"last_visit"` // start of the newest visit before now that took place or was to
	Next *time.Time `db:"next_visit"` // start of the first that is still to come
}

const (
	// mostSearchWords bounds how many words of a name are looked at (judgement: each is a
	// condition more).
	mostSearchWords = 4
	// leastSearchDigits is how many digits of a number have to be known (judgement: two
	// are in too many numbers to tell clients apart).
	leastSearchDigits = 3
)

const withVisits = `SELECT client_id, given_name, family_name, phone, mail, contact_by, note, growth, version, past.starts_at AS last_visit, coming.starts_at AS next_visit FROM c
	LEFT JOIN LATERAL (SELECT starts_at FROM visit v WHERE v.salon_id = $1 AND v.client_id = c.client_id AND v.starts_at <= $2
		AND v.state IN ('booked', 'arrived', 'under_way', 'finished', 'stopped_early') ORDER BY starts_at DESC LIMIT 1) past ON true
	LEFT JOIN LATERAL (SELECT starts_at FROM visit v WHERE v.salon_id = $1 AND v.client_id = c.client_id AND v.starts_at > $2
		AND v.state IN ('held', 'booked') ORDER BY starts_at LIMIT 1) coming ON true
	ORDER BY c.rank, lower(c.given_name), lower(c.family_name), c.client_id`

// partsOfNames separates names that are written together.
var partsOfNames = strings.NewReplacer("-", " ", "'", " ", "’", " ")

// FindClients lists at most limit clients whose name has every word of text at
// the beginning of one of its own, or whose telephone number has its digits;
// whole, when it is not "", is the number in E.164 that text may stand for. Who
// has the number or begins with the first word goes first. Visits are those
// around now. A text without a letter and with fewer than 3 digits finds nobody.
func (t *Tx) FindClients(ctx context.Context, text, whole string, now time.Time, limit int) ([]FoundClient, error) {
	words := strings.Fields(partsOfNames.Replace(strings.ToLower(text)))
	digits := strings.Map(func(r rune) rune {
		if unicode.IsDigit(r) {
			return r
		}
		return -1
	}, text)
	isName := strings.ContainsFunc(text, unicode.IsLetter)
	if len(words) == 0 || !isName && len(digits) < leastSearchDigits {
		return nil, nil
	}
	// A number is written in many ways; with the zero that stands for the country
	// it is looked for without.
	digits = strings.TrimLeft(digits, "0")
	if isName {
		digits = ""
	}
	first := words[0]
	var at [mostSearchWords]string
	for i := range at {
		if at[i] = " "; i < len(words) {
			at[i] += words[i]
		}
	}
	const q = `WITH c AS (SELECT ` + clientColumns + `,
		  CASE WHEN phone <> '' AND phone = $3 OR starts_with(lower(given_name), $4) THEN 0 ELSE 1 END AS rank
		FROM (SELECT *, CASE WHEN $6 THEN translate(lower(' ' || given_name || ' ' || family_name), '-''’', '   ') END AS n FROM client WHERE salon_id = $1) client
		WHERE CASE WHEN $6 THEN position($8 IN n) > 0 AND position($9 IN n) > 0 AND position($10 IN n) > 0 AND position($11 IN n) > 0
		  ELSE phone <> '' AND (phone = $3 OR $5 <> '' AND position($5 IN phone) > 0) END
		ORDER BY rank, lower(given_name), lower(family_name), client_id LIMIT $7) ` + withVisits
	return collect[FoundClient](ctx, t, "find clients", q, t.salon, now, whole, first, digits, isName, limit, at[0], at[1], at[2], at[3])
}

// MaybeKnown lists at most limit clients who may be the one that c is to become:
// with the same number or address, or the same first name and a family name that
// begins alike. One number may serve many.
func (t *Tx) MaybeKnown(ctx context.Context, c Client, now time.Time, limit int) ([]FoundClient, error) {
	const q = `WITH c AS (SELECT ` + clientColumns + `, CASE WHEN $3 <> '' AND phone = $3 OR $4 <> '' AND lower(mail) = lower($4) THEN 0 ELSE 1 END AS rank
		FROM client WHERE salon_id = $1 AND ($3 <> '' AND phone = $3 OR $4 <> '' AND lower(mail) = lower($4)
		  OR $5 <> '' AND lower(given_name) = lower($5) AND $6 <> '' AND starts_with(lower(family_name), lower($6)))
		ORDER BY rank, lower(given_name), lower(family_name), client_id LIMIT $7) ` + withVisits
	return collect[FoundClient](ctx, t, "find clients alike", q, t.salon, now, c.Phone, c.Mail, c.GivenName, strings.TrimRight(c.FamilyName, "."), limit)
}
