package api

import (
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
)

// uncompressed are pages that hold a secret, and streams. The length of a page
// that is compressed tells something of what is in it: whoever can make a browser
// ask for the page with words of theirs could guess the secret piece by piece.
var uncompressed = []string{"/open/", "/c/", "/own", "/m/", "/sign-in", "/code", "/me", "/set-up/access", "/set-up/sign-in", "/set-up/messages",
	"/my-day/calendar", "/clients/", "/events"}

// compressPages sends pages from 1 KiB on as gzip. What a form is answered with
// holds what was typed and stays as it is.
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
		return false
	}})
}
