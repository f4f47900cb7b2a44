package api

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/validation"
	"github.com/stretchr/testify/require"
)

// aboutWrong is what is answered where the framework says msg of given at place.
func aboutWrong(place, msg string, given any) (f FieldProblem, detail string) {
	p := frameworkProblem(http.StatusUnprocessableEntity, "validation failed",
		[]error{&huma.ErrorDetail{Location: place, Message: msg, Value: given}})
	return p.Errors[0], p.Detail
}

func TestEveryKindOfWrongValueIsNamedWithWhatWouldBeRight(t *testing.T) {
	const (
		aDate   = "a date such as 2026-11-25"
		aMoment = "a moment with its offset such as 2026-11-25T09:30:00+01:00"
		aNumber = "a whole number such as 12"
	)
	one, list := map[string]any{"a": 1.0}, []any{1.0, 2.0}
	with := fmt.Sprintf
	for _, tt := range []struct {
		place, msg string
		given      any
		want       string
	}{
		{"body.first_date", validation.MsgExpectedRFC3339Date, "25.11.2026", `first_date is "25.11.2026"; expected ` + aDate},
		{"body.first_date", validation.MsgExpectedRFC3339Date, "2026-02-29", `first_date is "2026-02-29", which is on no calendar; expected ` + aDate},
		{"body.first_date", validation.MsgExpectedRFC3339Date, "2026-02-28T10:00:00Z", `first_date is "2026-02-28T10:00:00Z"; expected ` + aDate},
		{"body.first_date", validation.MsgExpectedRFC3339Date, "tomorrow", "first_date is other text; expected " + aDate},
		{"body.first_date", validation.MsgExpectedRFC3339Date, "", `first_date is empty; expected ` + aDate},
		{"body.first_date", validation.MsgExpectedRFC3339Date, strings.Repeat("1-", 21), `first_date is other text; expected ` + aDate},
		{"body.first_date", validation.MsgExpectedString, 20261125.0, `first_date is a number; expected text in quotation marks such as "abc"`},
		{"path.date", validation.MsgExpectedRFC3339Date, "2026-13-01", `date is "2026-13-01", which is on no calendar; expected ` + aDate},
		{"body.start", validation.MsgExpectedRFC3339DateTime, "2026-11-25T09:30:00", `start is "2026-11-25T09:30:00"; expected ` + aMoment},
		{"body.start", validation.MsgExpectedRFC3339DateTime, "2026-11-25 09:30", `start is "2026-11-25 09:30"; expected ` + aMoment},
		{"body.start", validation.MsgExpectedRFC3339DateTime, "2026-02-29T09:30:00+01:00", `start is "2026-02-29T09:30:00+01:00", which is on no calendar; expected ` + aMoment},
		{"body.start", validation.MsgExpectedRFC1123DateTime, "soon", `start is other text; expected a moment such as Wed, 25 Nov 2026 08:30:00 GMT`},
		{"query.at", "invalid date/time for format 2006", "soon", `at is other text; expected ` + aMoment},
		{"body.at", validation.MsgExpectedRFC3339Time, "9:30", `at is "9:30"; expected a time such as 09:30:00`},
		{"body.wait", with(validation.MsgExpectedDuration, "no"), "90", `wait is "90"; expected a length of time such as 90m`},
		{"body.phone", validation.MsgExpectedRFC3339Date, "030-901820", "phone has another form; expected " + aDate},

		{"body.mail", with(validation.MsgExpectedRFC5322Email, "no @ in nora"), "nora", "mail has another form; expected a mail address such as name@example.org"},
		{"body.host", validation.MsgExpectedRFC5890Hostname, "a b", "host has another form; expected a host name such as salon.example"},
		{"body.ip", validation.MsgExpectedRFC2673IPv4, "1.2", "ip has another form; expected an address such as 192.0.2.1"},
		{"body.ip", validation.MsgExpectedRFC2373IPv6, "1.2", "ip has another form; expected an address such as 2001:db8::1"},
		{"body.ip", validation.MsgExpectedRFCIPAddr, "1.2", "ip has another form; expected an address such as 192.0.2.1 or 2001:db8::1"},
		{"body.url", with(validation.MsgExpectedRFC3986URI, "no"), "%zz", "url has another form; expected an address such as https://salon.example/calendar"},
		{"query.url", "invalid url.URL value", "%zz", "url is text; expected an address such as https://salon.example/calendar"},
		{"body.id", with(validation.MsgExpectedRFC4122UUID, "no"), "7", "id has another form; expected an id such as 3f2b8c1e-7d4a-4e6b-9c0d-5a1f2e3d4c5b"},
		{"body.t", validation.MsgExpectedRFC6570URITemplate, "{", "t has another form; expected a pattern of addresses such as /visits/{id}"},
		{"body.t", validation.MsgExpectedRFC6901JSONPointer, "a", "t has another form; expected a place such as /services/0/lead_id"},
		{"body.t", validation.MsgExpectedRFC6901RelativeJSONPointer, "a", "t has another form; expected a place such as 1/lead_id"},
		{"body.t", with(validation.MsgExpectedRegexp, "no"), "[", "t has another form; expected a regular expression such as ^[a-z]+$"},
		{"body.t", validation.MsgExpectedBase64String, "*", "t has another form; expected base64 such as aGFpcg=="},
		{"body.t", with(validation.MsgExpectedMatchPattern, "^[a-z]$"), "7", "t has another form; expected text of the form ^[a-z]$"},
		{"body.remedy", with(validation.MsgExpectedBePattern, "the id of a remedy"), "7", "remedy has another form; expected the id of a remedy"},

		{"body.kind", with(validation.MsgExpectedOneOf, "chair, basin"), "Stool", "kind is none of them; expected one of chair, basin"},
		{"body.kind", with(validation.MsgExpectedOneOf, "chair, basin"), "has asthma", "kind is none of them; expected one of chair, basin"},
		{"body.reason", with(validation.MsgExpectedOneOf, "skin, eyes"), "asthma", "reason is none of them; expected one of skin, eyes"},
		{"body.a", validation.MsgExpectedMatchAtLeastOneSchema, "x", "a is text; expected one of the documented forms"},
		{"body.a", validation.MsgExpectedMatchExactlyOneSchema, one, "a is an object; expected one of the documented forms"},
		{"body.a", validation.MsgExpectedNotMatchSchema, "x", "a is text; expected another of the documented forms"},
		{"body.a", validation.MsgExpectedPropertyNameInObject, one, "a is an object; expected the name that says which form it has"},

		{"body.n", with(validation.MsgExpectedMinimumNumber, 8.0), 7.5, "n is 7.5; expected 8 or more"},
		{"query.limit", with(validation.MsgExpectedMaximumNumber, 200), int64(201), "limit is 201; expected 200 or less"},
		{"body.n", with(validation.MsgExpectedExclusiveMinimumNumber, 0), -1e300, "n is -1e+300; expected more than 0"},
		{"body.n", with(validation.MsgExpectedExclusiveMaximumNumber, 5), 5000000.0, "n is 5000000; expected less than 5"},
		{"body.n", with(validation.MsgExpectedNumberBeMultipleOf, 5), 7, "n is 7; expected a multiple of 5"},
		{"body.answers[0].n", with(validation.MsgExpectedMaximumNumber, 9), 42.0, "answers/0/n is a number; expected 9 or less"},
		{"body.name", with(validation.MsgExpectedMinLength, 1), "", "name has 0 characters; expected at least 1 characters"},
		{"body.name", with(validation.MsgExpectedMaxLength, 3), "Édith", "name has 5 characters; expected at most 3 characters"},
		{"body.items", with(validation.MsgExpectedMinItems, 3), list, "items has 2 entries; expected 3 or more entries"},
		{"body.items", with(validation.MsgExpectedMaxItems, 1), list, "items has 2 entries; expected at most 1 entries"},
		{"body.items", validation.MsgExpectedArrayItemsUnique, list, "items holds an entry twice; expected every entry once"},
		{"body.o", with(validation.MsgExpectedMinProperties, 2), one, "o is an object; expected at least 2 properties"},
		{"body.o", with(validation.MsgExpectedMaxProperties, 0), one, "o is an object; expected at most 0 properties"},

		{"body.b", validation.MsgExpectedBoolean, "true", "b is text; expected true or false"},
		{"body.n", validation.MsgExpectedNumber, "12,5", `n is "12,5"; expected a number such as 12.5`},
		{"body.n", validation.MsgExpectedNumber, "long", "n is text; expected a number such as 12.5"},
		{"body.n", validation.MsgExpectedNumber, true, "n is true; expected a number such as 12.5"},
		{"body.n", validation.MsgExpectedInteger, 1.5, "n is 1.5; expected " + aNumber},
		{"body.n", validation.MsgExpectedInteger, nil, "n is null; expected " + aNumber},
		{"body.s", validation.MsgExpectedString, 4930901820.0, `s is a number; expected text in quotation marks such as "abc"`},
		{"body.s", validation.MsgExpectedString, false, `s is true or false; expected text in quotation marks such as "abc"`},
		{"body.s", validation.MsgExpectedArray, one, "s is an object; expected a list such as []"},
		{"body", validation.MsgExpectedObject, list, "the body is a list; expected an object such as {}"},
		{"query.limit", "invalid integer", "1.5", `limit is "1.5"; expected ` + aNumber},
		{"query.cut", "invalid float", "1,5", `cut is "1,5"; expected a number such as 12.5`},
		{"query.cut", "invalid floating value", "x", "cut is text; expected a number such as 12.5"},
		{"query.on", "invalid boolean", "yes", "on is text; expected true or false"},
		{"query.x", "invalid value: strconv", "x", "x is text; expected a value of the documented form"},
		{"header.x", "expected at most one value, but received multiple values", []string{"a", "b"}, "x is a list; expected one value"},
		{"body.x", "write only property is non-zero", "a", "x is text; expected nothing"},

		{"body.visits[0]", with(validation.MsgExpectedRequiredProperty, "start"), one, "visits/0/start is missing; expected a value"},
		{"body", with(validation.MsgExpectedDependentRequiredProperty, "to", "from"), one, "to is missing; expected a value where there is from"},
		{"query.date", "required query parameter is missing", "", "date is missing; expected a value"},
		{"header.If-Match", "required header parameter is missing", "", "If-Match is missing; expected a value"},
		{"body.colour_of", validation.MsgUnexpectedProperty, one, "colour_of is not known here; expected one of the documented names"},
		{"query.colour_of", "unknown query parameter", "", "colour_of is not known here; expected one of the documented names"},
		{"body", "json: cannot unmarshal x into Go value of type y", "x", "the body has a value of the wrong type; expected a value of the documented type"},
	} {
		f, detail := aboutWrong(tt.place, tt.msg, tt.given)
		require.Equal(t, tt.want, detail, "%s of %v", tt.msg, tt.given)
		in, _, _ := strings.Cut(tt.place, ".")
		require.Equal(t, in, f.In)
	}
}

func TestWhatMayBeSecretIsNeverRepeated(t *testing.T) {
	given := []any{"4930901820", "2026-02-29", "asthma", "12.5", 4930901820.0, int64(7)}
	for _, w := range frameworkWords {
		for _, name := range privately {
			for _, v := range given {
				f, _ := aboutWrong("body.list[0].the_"+name, w.message+"X", v)
				require.NotContains(t, f.Detail, fmt.Sprint(v), "%s of %s", w.message, name)
			}
		}
	}
}
