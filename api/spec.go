package api

import (
	"net/http"
	"sync"

	"github.com/labstack/echo/v4"
)

// routes registers every operation of the interface.
func (s *Server) routes() {
	s.salonRoutes()
	s.eraseRoutes()
	s.retentionRoutes()
	s.everythingRoutes()
	s.changeRoutes()
	s.settingRoutes()
	s.ruleRoutes()
	s.careRoutes()
	s.peopleRoutes()
	s.rotaRoutes()
	s.datedRotaRoutes()
	s.singleDayRoutes()
	s.openingDayRoutes()
	s.privateCalendarRoutes()
	s.serviceRoutes()
	s.serviceVersionRoutes()
	s.productRoutes()
	s.stockRoutes()
	s.quoteRoutes()
	s.moneyRoutes()
	s.visitProductRoutes()
	s.clientRoutes()
	s.estimateRoutes()
	s.openingRoutes()
	s.visitRoutes()
	s.holdRoutes()
	s.walkInRoutes()
	s.keptRoutes()
	s.eventRoutes()
	s.cardRoutes()
	s.personDayRoutes()
	s.visitRunRoutes()
	s.hairSeenRoutes()
	s.stopRoutes()
	s.afterVisitRoutes()
	s.cardExportRoutes()
	s.swapRoutes()
	s.extendRoutes()
	s.groupRoutes()
	s.dayRoutes()
	s.liveRoutes()
	s.weekRoutes()
	s.undoRoutes()
	s.wishRoutes()
	s.dayPlanRoutes()
	s.delayRoutes()
	s.runningLateRoutes()
	s.callRoutes()
	s.reminderRoutes()
	s.messageRuleRoutes()
	s.messageWishRoutes()
	s.languageRoutes()
	s.previewRoutes()
	s.yesRoutes()
	s.invitationRoutes()
	s.messageRoutes()
	s.webhookRoutes()
	s.accessRoutes()
	s.accountRoutes()
	s.secondFactorRoutes()
	s.signInRoutes()
	s.feedRoutes()
	s.ownLinkRoutes()
	s.mergeRoutes()
	s.testRoutes()
	s.minorRoutes()
	s.overrideRoutes()
	s.toDoRoutes()
	s.nameClientRoutes()
	s.undoMissRoutes()
	s.clientOverviewRoutes()
	s.findClientRoutes()
	s.paceRoutes()
	s.screeningRoutes()
	s.setUpRoutes()
	s.makerFigureRoutes()
	s.changePreviewRoutes()
	s.closingDaysRoutes()
	s.servicePreviewRoutes()
	s.salonReportRoutes()
}

// serveSpec publishes the OpenAPI description, which needs no token.
func (s *Server) serveSpec() {
	written := sync.OnceValues(s.Spec) // once it is asked for: it takes longer than the rest of a start
	s.echo.GET("/openapi.json", func(c echo.Context) error {
		spec, err := written()
		if err != nil {
			return err
		}
		return c.Blob(http.StatusOK, "application/openapi+json", spec)
	})
}

// Spec is the OpenAPI 3.1 description of the interface as JSON.
func (s *Server) Spec() ([]byte, error) { return s.api.OpenAPI().MarshalJSON() }
