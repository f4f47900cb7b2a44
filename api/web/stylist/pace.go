package stylist

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// paceView is the page on which somebody sees how quickly she works.
type paceView struct {
	base
	Report api.PaceReportBody
	Words  []string // of her own steps
	Rest   []string // of promises
	Steps  []paceRow
}

type paceRow struct {
	Label, Sheet string
	Visits       int
}

func (p page) pace(c echo.Context) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "My pace")
	if err != nil {
		return api.Sorry(c, err)
	}
	if b.Staff == "" {
		return api.Message(c, http.StatusNotFound, "My pace", "You have no pace of your own here. Everybody's pace is found in the set-up.")
	}
	v := paceView{base: b}
	if v.Report, err = web.Get[api.PaceReportBody](ctx, p.site, "/reports/pace", url.Values{"staff_id": {b.Staff}}); err != nil {
		return api.Sorry(c, err)
	}
	name := ""
	for _, s := range v.Report.Steps {
		if s.StaffID != b.Staff || s.Pair {
			continue
		}
		name = s.StaffName
		row := paceRow{Label: pages.Capital(s.Label), Visits: s.Visits}
		_, rest, found := strings.Cut(s.Words, ": ")
		if row.Sheet = rest; !found {
			row.Sheet = s.Words
		}
		v.Steps = append(v.Steps, row)
	}
	for _, w := range v.Report.Words {
		if own, found := strings.CutPrefix(w, name+"'s last"); found && name != "" {
			v.Words = append(v.Words, "Your last"+own)
		} else if !strings.HasPrefix(w, "The salon's") {
			v.Rest = append(v.Rest, w)
		}
	}
	return render(c, http.StatusOK, "own-pace", v)
}
