package api

import (
	"fmt"
	"math"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"
)

// repeats says what of a wrong value may stand in the answer about it. Whatever might
// be somebody's name, number, answer about health or secret is described only.
type repeats int

const (
	noValue repeats = iota
	figures         // numbers, also ones that were sent as text
	moments         // what looks like a date or a time
)

// frameworkWords put what the framework says of a value into the words of this interface, by
// how its message begins; the first that fits counts. Where right ends in a colon, the
// rest of the message follows; a %s in it is the rest.
var frameworkWords = []struct {
	message string
	right   string
	repeat  repeats
}{
	{"expected string to be RFC 3339 date-time", "a moment with its offset such as 2026-11-25T09:30:00+01:00", moments},
	{"expected string to be RFC 1123 date-time", "a moment such as Wed, 25 Nov 2026 08:30:00 GMT", moments},
	{"invalid date/time for format", "a moment with its offset such as 2026-11-25T09:30:00+01:00", moments},
	{"expected string to be RFC 3339 date", "a date such as 2026-11-25", moments},
	{"expected string to be RFC 3339 time", "a time such as 09:30:00", moments},
	{"expected duration", "a length of time such as 90m", moments},
	{"expected string to be RFC 5322 email", "a mail address such as name@example.org", noValue},
	{"expected string to be RFC 5890 hostname", "a host name such as salon.example", noValue},
	{"expected string to be RFC 2673 ipv4", "an address such as 192.0.2.1", noValue},
	{"expected string to be RFC 2373 ipv6", "an address such as 2001:db8::1", noValue},
	{"expected string to be either RFC 2673 ipv4 or RFC 2373 ipv6", "an address such as 192.0.2.1 or 2001:db8::1", noValue},
	{"expected string to be RFC 3986 uri", "an address such as https://salon.example/calendar", noValue},
	{"invalid url.URL value", "an address such as https://salon.example/calendar", noValue},
	{"expected string to be RFC 4122 uuid", "an id such as 3f2b8c1e-7d4a-4e6b-9c0d-5a1f2e3d4c5b", noValue},
	{"expected string to be RFC 6570 uri-template", "a pattern of addresses such as /visits/{id}", noValue},
	{"expected string to be RFC 6901 json-pointer", "a place such as /services/0/lead_id", noValue},
	{"expected string to be RFC 6901 relative-json-pointer", "a place such as 1/lead_id", noValue},
	{"expected string to be regex", "a regular expression such as ^[a-z]+$", noValue},
	{"expected string to be base64 encoded", "base64 such as aGFpcg==", noValue},
	{"expected string to match pattern ", "text of the form %s", noValue},
	{"expected string to be ", "%s", noValue},
	{"expected value to be one of ", "one of %s", noValue},
	{"expected value to match", "one of the documented forms", noValue},
	{"expected value to not match", "another of the documented forms", noValue},
	{"expected propertyName value", "the name that says which form it has", noValue},
	{"expected number >= ", "%s or more", figures},
	{"expected number > ", "more than %s", figures},
	{"expected number <= ", "%s or less", figures},
	{"expected number < ", "less than %s", figures},
	{"expected number to be a multiple of ", "a multiple of %s", figures},
	{"expected length >= ", "at least %s characters", noValue},
	{"expected length <= ", "at most %s characters", noValue},
	{"expected array length >= ", "%s or more entries", noValue},
	{"expected array length <= ", "at most %s entries", noValue},
	{"expected array items to be unique", "every entry once", noValue},
	{"expected object with at least ", "at least %s", noValue},
	{"expected object with at most ", "at most %s", noValue},
	{"expected boolean", "true or false", noValue},
	{"expected integer", "a whole number such as 12", figures},
	{"expected number", "a number such as 12.5", figures},
	{"expected string", `text in quotation marks such as "abc"`, noValue},
	{"expected array", "a list such as []", noValue},
	{"expected object", "an object such as {}", noValue},
	{"expected at most one value", "one value", noValue},
	{"invalid integer", "a whole number such as 12", figures},
	{"invalid float", "a number such as 12.5", figures},
	{"invalid boolean", "true or false", noValue},
	{"invalid value", "a value of the documented form", noValue},
	{"write only property", "nothing", noValue},
}

// say puts a message of the framework about given into our words. What is missing is
// named by its own place instead of that of the object around it, and names of Go types
// stay out of the answer.
func (f *FieldProblem) say(msg string, given any) {
	if f.sayAbsent(msg) {
		return
	}
	for _, w := range frameworkWords {
		rest, ok := strings.CutPrefix(msg, w.message)
		if !ok {
			continue
		}
		repeat := w.repeat
		if f.private() {
			repeat = noValue
		}
		f.Detail, f.Expected = described(given, repeat, msg), w.right
		if strings.Contains(w.right, "%s") {
			f.Expected = fmt.Sprintf(w.right, strings.ReplaceAll(rest, `"`, ""))
		}
		return
	}
	// Text of a decoder, which names Go types and values.
	f.Detail, f.Expected = "has a value of the wrong type", "a value of the documented type"
}

// sayAbsent is say where the name is wrong and not the value.
func (f *FieldProblem) sayAbsent(msg string) bool {
	name, property := strings.CutPrefix(msg, "expected required property ")
	dependent, depends := strings.CutPrefix(msg, "expected property ")
	switch {
	case property:
		f.Pointer += pointer(strings.TrimSuffix(name, " to be present"))
		f.Detail, f.Expected = "is missing", "a value"
	case depends:
		name, other, _ := strings.Cut(dependent, " to be present when ")
		f.Pointer += pointer(name)
		f.Detail, f.Expected = "is missing", "a value where there is "+strings.TrimSuffix(other, " is present")
	case strings.HasPrefix(msg, "required "):
		f.Detail, f.Expected = "is missing", "a value"
	case msg == "unexpected property", msg == "unknown query parameter":
		f.Detail, f.Expected = "is not known here", "one of the documented names"
	default:
		return false
	}
	return true
}

// privately are names, or parts of them, of fields whose values are never repeated, be
// they of a kind that is harmless elsewhere: what is said about health, how people are
// reached, and what lets somebody in.
var privately = []string{"answer", "question", "result", "reason", "outcome", "note", "phone", "mail", "password", "secret", "token", "code", "link", "url"}

func (f *FieldProblem) private() bool {
	at := strings.ToLower(f.Pointer)
	for _, word := range privately {
		if strings.Contains(at, word) {
			return true
		}
	}
	return false
}

// Shapes of text that may be repeated.
var (
	likeFigure = regexp.MustCompile(`^[-+]?[0-9][0-9.,eE+-]{0,15}$`)
	likeMoment = regexp.MustCompile(`^([0-9]{1,4}|[A-Za-z]{1,9})([-T:.,/+ ]+([0-9]{1,9}|[A-Za-z]{1,9}))*Z?$`)
	wholeDate  = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`)
	wholeTime  = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?(Z|[-+][0-9]{2}:[0-9]{2})$`)
)

// longestRepeated is up to how many characters of a value are repeated (judgement).
const longestRepeated = 40

// described says what given is, in the manner of "is 7". msg is what the framework says
// of it.
func described(given any, repeat repeats, msg string) string {
	if strings.Contains(msg, "length ") {
		return lengthOf(given)
	}
	switch v := reflect.ValueOf(given); {
	case given == nil:
		return "is null"
	case v.Kind() == reflect.String:
		return describedText(v.String(), repeat, msg)
	case v.Kind() == reflect.Bool && repeat == noValue:
		return "is true or false"
	case v.Kind() == reflect.Bool:
		return fmt.Sprintf("is %t", v.Bool())
	case v.Kind() == reflect.Slice:
		return listed(msg)
	case v.Kind() == reflect.Map:
		return "is an object"
	case repeat != figures:
		return "is a number"
	case v.CanFloat():
		return "is " + figure(v.Float())
	}
	return fmt.Sprintf("is %v", given) // any kind of whole number
}

func listed(msg string) string {
	if strings.Contains(msg, "unique") {
		return "holds an entry twice"
	}
	return "is a list"
}

// describedText is described for text.
func describedText(s string, repeat repeats, msg string) string {
	short := utf8.RuneCountInString(s) <= longestRepeated
	switch {
	case s == "":
		return "is empty"
	case repeat == figures && likeFigure.MatchString(s):
		return fmt.Sprintf("is %q", s)
	case repeat == moments && short && onNoCalendar(s, msg):
		return fmt.Sprintf("is %q, which is on no calendar", s)
	case repeat == moments && short && likeMoment.MatchString(s) && strings.ContainsAny(s, "0123456789"):
		return fmt.Sprintf("is %q", s)
	case repeat == figures:
		return "is text"
	case repeat == moments:
		return "is other text"
	case strings.HasPrefix(msg, "expected value to be one of"):
		return "is none of them"
	case strings.HasPrefix(msg, "expected string"):
		return "has another form"
	}
	return "is text"
}

// onNoCalendar reports whether s is written as the framework wants it, so that it can only
// be wrong because there is no such day or time.
func onNoCalendar(s, msg string) bool {
	switch {
	case strings.HasSuffix(msg, "3339 date"):
		return wholeDate.MatchString(s)
	case strings.HasSuffix(msg, "3339 date-time"):
		return wholeTime.MatchString(s)
	}
	return false
}

// lengthOf says how long a text or list is.
func lengthOf(given any) string {
	v := reflect.ValueOf(given)
	if v.Kind() == reflect.String {
		return fmt.Sprintf("has %d characters", utf8.RuneCountInString(v.String()))
	}
	if v.Kind() == reflect.Slice {
		return fmt.Sprintf("has %d entries", v.Len())
	}
	return "has another length"
}

// figure writes v as people do, very great and very small numbers with a power of ten.
func figure(v float64) string {
	if a := math.Abs(v); v != 0 && (a >= 1e15 || a < 1e-6) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
