package pages

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The groups are those that the national numbering plans print (Ofcom's numbers
// for drama, the Bundesnetzagentur's plan, the NANP), as the library knows them.
func TestTelephoneNumbersAreReadAloudInTheGroupsOfTheirCountry(t *testing.T) {
	for number, words := range map[string]string{
		"+442079460018": "+44 20 7946 0018", "+4930901820": "+49 30 901820", "+12125550123": "+1 212-555-0123",
		"": "", "desk@salon.example": "desk@salon.example", "207946": "207946",
	} {
		require.Equal(t, words, PhoneWords(number))
	}
}
