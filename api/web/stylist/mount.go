package stylist

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"chairblock/api/web"
)

// Mount registers the pages.
func Mount(s *web.Site) {
	p := page{s}
	// What can be installed and used without a network lies below /my-day/: a
	// service worker answers only for what is below its own address.
	s.GET("/my-day", "get-visit-run", func(c echo.Context) error { return c.Redirect(http.StatusSeeOther, home) })
	s.GET(home, "get-visit-run", p.day)
	s.POST(home+"taps", "get-visit-run", p.taps)
	s.GET(home+"visits/:id", "get-visit-run", p.visit)
	s.POST(home+"visits/:id/tap", "get-visit-run", p.tapForm)
	s.GET(home+"visits/:id/hair", "hair-as-seen", p.hair)
	s.POST(home+"visits/:id/hair", "hair-as-seen", p.hairForm)
	s.POST(home+"visits/:id/without", "override-need", p.without)
	s.GET(home+"visits/:id/stop", "stop-visit", p.stop)
	s.POST(home+"visits/:id/stop", "stop-visit", p.stopForm)
	s.GET(home+"visits/:id/card", "get-card", p.card)
	s.POST(home+"visits/:id/card", "add-card-fact", p.cardForm)
	s.POST(home+"visits/:id/card/:fact", "correct-card-fact", p.correctForm)
	s.GET(home+"visits/:id/told", "get-screening", p.told)
	s.POST(home+"visits/:id/told/:what", "add-screening", p.toldForm)
	s.GET(home+"calendar", "list-feeds", p.calendar)
	s.POST(home+"calendar/:what", "list-feeds", p.calendarForm)
	s.GET(home+"pace", "report-pace", p.pace)
	s.Open(http.MethodGet, home+"sw.js", worker)
	s.Open(http.MethodGet, home+"manifest.webmanifest", manifest)
	s.Open(http.MethodGet, home+"away", away)
}

// home is the address of the day, and what all pages of this package are below.
const home = "/my-day/"

// page answers requests of this package's pages.
type page struct{ site *web.Site }
