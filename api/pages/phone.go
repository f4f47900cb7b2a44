package pages

import "github.com/nyaruka/phonenumbers"

// PhoneWords is a telephone number in the groups of its country, as it is read
// aloud. What is no number with a country code comes back as it is.
func PhoneWords(s string) string {
	n, err := phonenumbers.Parse(s, "")
	if err != nil {
		return s
	}
	return phonenumbers.Format(n, phonenumbers.INTERNATIONAL)
}
