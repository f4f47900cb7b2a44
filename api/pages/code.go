package pages

import (
	"fmt"
	"html/template"
	"strings"

	"chairblock/scheduling"
)

// CalendarCode draws the address of a calendar, with the scheme that programs
// subscribe to, as a code for cameras. It returns scheduling.Faults for what is no
// such address.
func CalendarCode(webcal string) (template.HTML, error) {
	if !strings.HasPrefix(webcal, "webcal://") || strings.ContainsFunc(webcal, notInAddress) {
		return "", &scheduling.InvalidError{Field: "webcal", Problem: "is not an address to subscribe to", Want: "webcal:// and what follows, in plain ASCII"}
	}
	code, err := codeSVG(webcal, calendarCode)
	if err != nil {
		return "", fmt.Errorf("pages: calendar code: %w", err)
	}
	return template.HTML(code), nil //nolint:gosec // made by the program, of what was checked
}

// SecretCode draws the otpauth address of a second step as a code for cameras. It
// returns scheduling.Faults for what is no such address.
func SecretCode(otpauth string) (template.HTML, error) {
	if !strings.HasPrefix(otpauth, "otpauth://totp/") || strings.ContainsFunc(otpauth, notInAddress) {
		return "", &scheduling.InvalidError{Field: "otpauth", Problem: "is not the address of a secret", Want: "otpauth://totp/ and what follows, in plain ASCII"}
	}
	code, err := codeSVG(otpauth, "Code with the secret of the second step")
	if err != nil {
		return "", fmt.Errorf("pages: secret code: %w", err)
	}
	return template.HTML(code), nil //nolint:gosec // made by the program, of what was checked
}
