package api

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// MessageWishesBody is how a client wishes to be written to. The preferred way
// stands with the client, or with the guardian of a minor.
type MessageWishesBody struct {
	Language string   `json:"language,omitempty" maxLength:"35" example:"pt-br" doc:"Language of messages as a BCP 47 tag; left out: the salon's"`
	Voice    bool     `json:"voice_message_allowed,omitempty" doc:"Word may be left on an answering machine"`
	Agreed   []string `json:"agreed_kinds" required:"false" nullable:"true" maxItems:"20" doc:"Kinds of messages that were agreed to; who noted it and when is kept"`
	Stopped  []string `json:"stopped_kinds" required:"false" nullable:"true" maxItems:"20" doc:"Kinds of messages that are not wanted. Where a visit is moved, cancelled or late, the desk calls instead"`
	Ways     []string `json:"stopped_ways" required:"false" nullable:"true" maxItems:"2" enum:"mail,text" doc:"Ways in which no message is wanted"`

	SaidBy    string              `json:"said_by" readOnly:"true" required:"false" enum:"client,guardian" doc:"Whose words these are: a guardian's as long as the client is a minor, whose own are asked for anew after that"`
	ContactBy string              `json:"contact_by" readOnly:"true" required:"false" enum:"mail,call,text,none,not_asked" doc:"The preferred way"`
	Kinds     []KindWishBody      `json:"kinds,omitempty" readOnly:"true" required:"false" doc:"What comes of it for every kind of message"`
	History   []MessageChoiceBody `json:"history,omitempty" readOnly:"true" required:"false" doc:"Everything that was said of it, newest first, at most 200 times"`
}

// KindWishBody is what becomes of one kind of message.
type KindWishBody struct {
	Kind  string `json:"kind"`
	Words string `json:"words" doc:"What such a message says"`
	By    string `json:"by" enum:"mail,text,call,none" doc:"How it reaches the client; call: it stands on the list of calls"`
	Why   string `json:"why,omitempty" doc:"Why not by the preferred way"`
}

// MessageChoiceBody is one word on whether messages are wanted.
type MessageChoiceBody struct {
	Kind        string    `json:"kind,omitempty" doc:"Left out: every kind"`
	Way         string    `json:"way,omitempty" enum:"mail,text" doc:"Left out: every way"`
	Said        string    `json:"said" enum:"agreed,stopped,nothing" doc:"nothing: what was said before counts no more"`
	SaidBy      string    `json:"said_by" enum:"client,guardian"`
	How         string    `json:"how" enum:"desk,page,one_click" doc:"one_click: the button of a mail program"`
	NotedBy     string    `json:"noted_by,omitempty" doc:"Who noted it; left out when it was said by a link"`
	MessageKind string    `json:"message_kind,omitempty" doc:"Kind of the message whose link was used"`
	At          time.Time `json:"said_at"`
}

type messageWishesInput struct {
	ByID
	Precondition
	Body MessageWishesBody
}

func (s *Server) messageWishRoutes() {
	route(s, huma.Operation{OperationID: "get-message-wishes", Method: http.MethodGet, Path: "/clients/{id}/message-wishes",
		Summary: "How a client wishes to be written to, and what was said of it"}, s.getMessageWishes)
	route(s, huma.Operation{OperationID: "set-message-wishes", Method: http.MethodPut, Path: "/clients/{id}/message-wishes",
		Summary: "Note how a client wishes to be written to"}, s.setMessageWishes)
}

// wishes are those of b, by what they are about, and language.
func (b *MessageWishesBody) wishes() (map[store.MessageChoice]bool, error) {
	var f scheduling.Faults
	if b.Language != "" {
		b.Language = languageOf(&f, "language", b.Language)
	}
	known, out := messageNames(clientKinds), map[store.MessageChoice]bool{}
	for _, list := range []struct {
		field  string
		kinds  []string
		wanted bool
	}{{"agreed_kinds", b.Agreed, true}, {"stopped_kinds", b.Stopped, false}} {
		for i, kind := range list.kinds {
			about := store.MessageChoice{Kind: kind}
			if wanted, twice := out[about]; twice && wanted != list.wanted {
				f.Add(index(list.field, i), "is agreed to, too", "a kind in one of the two lists")
			}
			if !slices.Contains(known, kind) {
				f.Add(index(list.field, i), "is no kind of message to clients", "one of "+strings.Join(known, ", "))
			}
			out[about] = list.wanted
		}
	}
	for i, by := range b.Ways {
		if by != wayMail && by != wayText {
			f.Add(index("stopped_ways", i), "is no way that can be stopped", "mail or text")
		}
		out[store.MessageChoice{Way: by}] = false
	}
	return out, f.Err()
}

// choices are the words that make what w holds into wanted, for who is spoken to.
func choices(w store.MessageWish, wanted map[store.MessageChoice]bool, guardian bool, said store.MessageChoice) []store.MessageChoice {
	var out []store.MessageChoice
	say := func(kind, way string, yes *bool) {
		c := said
		c.Kind, c.Way, c.Guardian, c.Wanted = kind, way, guardian, yes
		out = append(out, c)
	}
	for about, yes := range wanted {
		if was := w.Said(about.Kind, about.Way, guardian); was == nil || *was != yes {
			say(about.Kind, about.Way, &yes)
		}
	}
	for _, c := range w.Choices {
		if _, kept := wanted[store.MessageChoice{Kind: c.Kind, Way: c.Way}]; c.Guardian == guardian && c.Wanted != nil && !kept {
			say(c.Kind, c.Way, nil)
		}
	}
	slices.SortFunc(out, func(a, b store.MessageChoice) int { return strings.Compare(a.Kind+"/"+a.Way, b.Kind+"/"+b.Way) })
	return out
}

func (s *Server) getMessageWishes(ctx context.Context, in *ByID) (out *found[MessageWishesBody], err error) {
	err = s.read(ctx, func(t *store.Tx) error {
		w, err := t.MessageWishOf(ctx, in.ID)
		if err != nil {
			return err
		}
		out, err = s.writeMessageWishes(ctx, t, w)
		return err
	})
	return out, err
}

func (s *Server) setMessageWishes(ctx context.Context, in *messageWishesInput) (out *found[MessageWishesBody], err error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	wanted, err := in.Body.wishes()
	if err != nil {
		return nil, err
	}
	err = s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if err := t.LockClient(ctx, in.ID); err != nil {
			return err
		}
		w, err := t.MessageWishOf(ctx, in.ID)
		if err != nil {
			return err
		}
		to, err := s.spokenToOf(ctx, t, n, in.ID)
		if err != nil {
			return err
		}
		by, err := whoNotes(ctx, t)
		if err != nil {
			return err
		}
		list := choices(w, wanted, to.minor, store.MessageChoice{How: "desk", NotedBy: by, At: s.now()})
		w.Language, w.Voice, w.Version = in.Body.Language, in.Body.Voice, version
		if w, err = t.SaveMessageWish(ctx, w, list); err != nil {
			return err
		}
		out, err = s.writeMessageWishes(ctx, t, w)
		return err
	})
	return out, err
}

// spokenToOf is who is spoken to for a client.
func (s *Server) spokenToOf(ctx context.Context, t *store.Tx, n salonDay, client string) (person, error) {
	c, err := t.ClientByID(ctx, client)
	if err != nil {
		return person{}, err
	}
	minors, err := t.MinorsOf(ctx, client)
	return s.spokenTo(n, c, minors), err
}

func (s *Server) writeMessageWishes(ctx context.Context, t *store.Tx, w store.MessageWish) (*found[MessageWishesBody], error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, err
	}
	rules, err := messageRulesOf(n.row)
	if err != nil {
		return nil, err
	}
	to, err := s.spokenToOf(ctx, t, n, w.Client)
	if err != nil {
		return nil, err
	}
	texts, err := s.hasTexts(ctx, t)
	if err != nil {
		return nil, err
	}
	b := MessageWishesBody{Language: w.Language, Voice: w.Voice, Agreed: []string{}, Stopped: []string{}, Ways: []string{}, SaidBy: saidBy(to.minor), ContactBy: to.by}
	for _, c := range w.Choices {
		switch {
		case c.Guardian != to.minor || c.Wanted == nil:
		case *c.Wanted && c.Kind != "":
			b.Agreed = append(b.Agreed, c.Kind)
		case !*c.Wanted && c.Kind != "":
			b.Stopped = append(b.Stopped, c.Kind)
		case !*c.Wanted:
			b.Ways = append(b.Ways, c.Way)
		}
	}
	for _, k := range clientKinds {
		h := rules.hears(string(k.kind), to, w, texts)
		by := h.by
		if by == "" {
			by = map[store.ReminderState]string{store.ToCall: wayCall, store.NotWanted: wayNone}[h.outcome]
		}
		b.Kinds = append(b.Kinds, KindWishBody{string(k.kind), k.words, by, h.problem})
	}
	history, err := t.MessageChoices(ctx, w.Client, 200)
	for _, c := range history {
		b.History = append(b.History, writeMessageChoice(c, n.loc))
	}
	return &found[MessageWishesBody]{etag(w.Version), b}, err
}

func saidBy(guardian bool) string {
	if guardian {
		return "guardian"
	}
	return "client"
}

func writeMessageChoice(c store.MessageChoice, loc *time.Location) MessageChoiceBody {
	said := "nothing"
	if c.Wanted != nil {
		said = map[bool]string{true: "agreed", false: "stopped"}[*c.Wanted]
	}
	return MessageChoiceBody{Kind: c.Kind, Way: c.Way, Said: said, SaidBy: saidBy(c.Guardian), How: c.How, NotedBy: c.NotedBy, MessageKind: c.MessageKind, At: c.At.In(loc)}
}

// hasTexts reports whether the salon has a gateway for text messages that is
// switched on.
func (s *Server) hasTexts(ctx context.Context, t *store.Tx) (bool, error) {
	g, err := t.TextGateway(ctx)
	if is(err, scheduling.ErrNotFound) {
		return false, nil
	}
	return g.Enabled && s.outbound != nil, err
}
