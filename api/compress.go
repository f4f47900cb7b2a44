package api

import (
	"net/http"
	"regexp"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
)

// uncompressed are pages that hold a secret, streams, and pages about clients that
// repeat what was searched or typed. The length of a page that is compressed tells
// something of what is in it: whoever can make a browser ask for the page with words
// of theirs could guess what else stands there, piece by piece.
var uncompressed = []string{"/open/", "/c/", "/own", "/m/", "/sign-in", "/code", "/prove", "/me", "/set-up/access", "/set-up/sign-in", "/set-up/messages",
	"/my-day/calendar", "/clients", "/events"}

// plainQuery are parameters that no page repeats as they came, and plainValue values
// that are of little use to somebody who guesses: days, times and numbers.
var (
	plainQuery = []string{"part", "done", "undone", "kept"}
	plainValue = regexp.MustCompile(`^[0-9:TZ.+-]{0,32}$`)
)

// compressPages sends pages from 1 KiB on as gzip. What a form is answered with
// holds what was typed and stays as it is, and so does what an address asks for with
// words.
func compressPages() echo.MiddlewareFunc {
	return middleware.GzipWithConfig(middleware.GzipConfig{MinLength: 1 << 10, Skipper: func(c echo.Context) bool {
		if c.Request().Method != http.MethodGet {
			return true
		}
		for _, p := range uncompressed {
			if strings.HasPrefix(c.Request().URL.Path, p) {
				return true
			}
		}
		for name, values := range c.QueryParams() {
			if !slices.Contains(plainQuery, name) && slices.ContainsFunc(values, func(v string) bool { return !plainValue.MatchString(v) }) {
				return true
			}
		}
		return false
	}})
}
