package api

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// MessagePreviewRequest asks how a message would read.
type MessagePreviewRequest struct {
	Kind     string `json:"kind" maxLength:"40" example:"reminder" doc:"As in GET /message-rules"`
	Language string `json:"language,omitempty" maxLength:"35" example:"en" doc:"Left out: the salon's"`
	Guardian bool   `json:"to_guardian,omitempty" doc:"As it would be written to who answers for a minor"`
}

// MessagePreviewBody is a message about a visit that there is not.
type MessagePreviewBody struct {
	Language string `json:"language" doc:"In which it is written: another than was asked for when the salon has no such file"`
	Subject  string `json:"subject"`
	Text     string `json:"text"`
	HTML     string `json:"html"`
	Short    string `json:"short" doc:"As a text message"`
}

type previewMessageInput struct{ Body MessagePreviewRequest }

func (s *Server) previewRoutes() {
	route(s, huma.Operation{OperationID: "preview-message", Method: http.MethodPost, Path: "/message-preview",
		Summary: "See how a message reads; nobody gets it"}, s.previewMessage)
}

func (s *Server) previewMessage(ctx context.Context, in *previewMessageInput) (*struct{ Body MessagePreviewBody }, error) {
	var f scheduling.Faults
	k, ok := kindNamed(in.Body.Kind)
	if known := messageNames(clientKinds, staffKinds); !ok {
		f.Add("kind", "is no kind of message", "one of "+strings.Join(known, ", "))
	}
	tag := ""
	if in.Body.Language != "" {
		tag = languageOf(&f, "language", in.Body.Language)
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	var out MessagePreviewBody
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		rules, err := messageRulesOf(n.row)
		if err != nil {
			return err
		}
		w, err := s.wordsFor(ctx, t, tag, rules.Language)
		if err != nil {
			return err
		}
		facts := s.sampleFacts(n, rules, k)
		if !in.Body.Guardian {
			facts.GuardianFirstName = ""
		}
		m, err := notify.Compose(w, k.kind, facts)
		if err != nil {
			return err
		}
		short, err := w.Short(k.kind, facts)
		out = MessagePreviewBody{w.Tag(), m.Subject, m.Text, m.HTML, short}
		return err
	})
	return &struct{ Body MessagePreviewBody }{out}, err
}

// sampleFacts are those of a visit that there is not, of an invented client, in three
// days or three days ago. Its links lead nowhere.
func (s *Server) sampleFacts(n salonDay, rules MessageRules, k messageKind) notify.Facts {
	f := s.salonFacts(n)
	f.SalonPhone = orSample(f.SalonPhone)
	day := n.today(s.now()).Add(3)
	if slices.Contains([]string{afterVisit, comeAgain}, k.topic) {
		day = day.Add(-6)
	}
	f.Start = wall(n.loc, day, 10*60)
	f.End = f.Start.Add(4*time.Hour + 30*time.Minute)
	f.Before, f.HeldUntil = f.Start.AddDate(0, 0, 1), s.now().Add(2*time.Hour)
	f.ClientFirstName, f.GuardianFirstName, f.StaffFirstName, f.ClientInitials = "Mara", "Rosa", "Ada", "M. Q."
	f.Services, f.Straightening, f.Stylist, f.Helper, f.Station = []string{"Straightening"}, true, "Ada", "Mina", "Basin 1"
	f.StillNeeded = []notify.Needed{{Kind: notify.NeedDeposit, By: f.Start.AddDate(0, 0, -1)}}
	f.LateMinutes, f.CanStartUntil = rules.LateMinutes, f.Start.Add(25*time.Minute)
	f.KeepDryUntil, f.NoTieUntil = new(n.keepDryUntil(f.End)), new(n.untiedUntil(f.End))
	last := scheduling.CivilDate(f.End, n.loc)
	f.WithinFrom, f.WithinTo = new(last.Add(firstWashFrom)), new(last.Add(firstWashTo))
	if k.kind == notify.Retouch || k.kind == notify.RetouchAgain {
		from := n.retouchDate(f.End, n.care.growth.Seen(""))
		f.WithinFrom, f.WithinTo, f.NewHairCM = &from, new(from.Add(date.PeriodOfDays(28))), n.care.growth.Due
	}
	f.Changes = []notify.Change{{What: notify.ChangeMoved, Initials: "M. Q.", Services: f.Services, Start: f.Start, Before: f.Before}}
	f.CheckAt, f.CheckBy = f.Start.Add(90*time.Minute), f.Start.Add(93*time.Minute)
	link := s.base + messagePath + "preview"
	if k.topic != atWorkHere {
		f.StopLink, f.AnswerLink, f.Link, f.BookLink = link, link, link, link
	}
	return f
}

// orSample is a telephone number for a salon that has none yet.
func orSample(phone string) string {
	if phone == "" {
		return "+49 30 901820"
	}
	return phone
}
