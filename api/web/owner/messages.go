package owner

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) messagePages() {
	p.get("/set-up/messages", "set-message-rules", (*visit).messagesSheet)
	p.post("/set-up/messages", "set-message-rules", (*visit).saveMessageRules, (*visit).messagesSheet)
	p.post("/set-up/messages/preview", "preview-message", (*visit).previewMessage, (*visit).messagesSheet)
	p.post("/set-up/messages/gateway", "update-webhook", (*visit).saveGateway, (*visit).messagesSheet)
	p.post("/set-up/messages/gateway/secret", "rotate-webhook-secret", (*visit).newSecret, (*visit).messagesSheet)
	p.post("/set-up/messages/gateway/test", "test-webhook", (*visit).testGateway, (*visit).messagesSheet)
	p.post("/set-up/messages/gateway/remove", "delete-webhook", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodDelete, "/webhook", nil, nil)
		return answer{to: "/set-up/messages?done=ended#gateway"}, err
	}, (*visit).messagesSheet)
	p.get("/set-up/messages/languages/:tag", "set-language", (*visit).languageSheet)
	p.post("/set-up/messages/languages/:tag", "set-language", (*visit).saveLanguage, (*visit).languageSheet)
	p.post("/set-up/messages/languages/:tag/remove", "delete-language", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("languages", v.c.Param("tag")), nil, nil)
		return answer{to: "/set-up/messages?done=removed#languages"}, err
	}, (*visit).languageSheet)
	p.post("/set-up/messages/languages", "set-language", func(v *visit) (answer, error) {
		tag := strings.ToLower(v.typed("tag"))
		if tag == "" || strings.ContainsFunc(tag, func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-' }) {
			var f faults
			f.add(v, "tag", "This is not a language tag. Right is one such as de or pt-br.")
			return answer{}, f
		}
		return answer{to: "/set-up/messages/languages/" + tag}, nil
	}, (*visit).messagesSheet)
}

func (v *visit) messagesSheet() (*sheet, error) {
	rules, tag, err := tagged[api.MessageRules](v, "/message-rules")
	if err != nil {
		return nil, err
	}
	languages, _, err := tagged[struct{ Items []api.LanguageInList }](v, "/languages")
	if err != nil {
		return nil, err
	}
	gateway, err := v.gatewayPart()
	if err != nil {
		return nil, err
	}
	s := v.sheet("Messages")
	s.Parts = append(s.Parts, messageRulesPart(rules, tag), previewPart(languages.Items, api.MessagePreviewRequest{Kind: "reminder", Language: rules.Language}),
		languagesPart(languages.Items), gateway)
	return s, nil
}

func messageRulesPart(r api.MessageRules, tag string) part {
	kinds := pages.Field{Name: "messages-sent", Label: "Sent", Kind: "ticks"}
	for _, k := range api.MessageKinds() {
		words := "“" + k.Words + "”"
		if k.ToStaff {
			words += ", to who works here"
		}
		kinds.Options = append(kinds.Options, pages.Choice{Value: k.Kind, Text: words, Chosen: !slices.Contains(r.NotSent, k.Kind)})
	}
	return part{ID: "messages", Title: "Which and when", Forms: []form{{ID: "messages", Action: "/set-up/messages", Hidden: []hidden{version(tag)}, Fields: []pages.Field{
		pages.Input("messages-quiet_from", "Quiet from", "Nothing is sent; what is about the next 12 hours is", "time", r.QuietFrom),
		pages.Input("messages-quiet_to", "Quiet until", "The same as from: no quiet hours", "time", r.QuietTo),
		pages.Input("messages-dated_at", "Messages of a day go out at", "Such as that a retouch is due", "time", r.DatedAt),
		pages.Number("messages-prepare_hours_before", "How to prepare: hours before the visit", "1 to 336", fmt.Sprint(r.PrepareHours)),
		pages.Number("messages-reminder_hours_before", "Reminder: hours before the visit", "1 to 336", fmt.Sprint(r.ReminderHours)),
		pages.Tick("messages-reminder_asks_yes", "The reminder asks for a yes", "", *r.AsksYes),
		pages.Number("messages-yes_within_hours", "No yes: on the list of calls after", "Hours, 1 to 168", fmt.Sprint(r.YesWithinHours)),
		pages.Number("messages-retouch_again_weeks", "Retouch due: once more after", "Weeks, 1 to 26", fmt.Sprint(r.RetouchAgainWeeks)),
		pages.Number("messages-late_minutes", "Running late from", "Minutes, 5 to 120", fmt.Sprint(r.LateMinutes)),
		pages.Tick("messages-late_by_itself", "Tell clients without being asked when their visit will begin late", "Otherwise somebody has to ask for it", *r.LateByItself),
		pages.Tick("messages-tell_checks", "Stylists are told when hair has to be looked at", "", *r.TellChecks),
		pages.Tick("messages-invitations_need_yes", "Only who has agreed is asked to come again", "Otherwise everybody who has not stopped it", *r.InvitationsNeedYes),
		pages.Input("messages-language", "Language where a client named none", "A tag such as en or pt-BR", "text", r.Language),
		kinds,
	}, Buttons: save("Save")}}}
}

func (v *visit) saveMessageRules() (answer, error) {
	var f faults
	r := api.MessageRules{QuietFrom: clockOnly(v.typed("quiet_from")), QuietTo: clockOnly(v.typed("quiet_to")), DatedAt: clockOnly(v.typed("dated_at")), NotSent: []string{},
		PrepareHours: orZero(v.count("prepare_hours_before", &f)), ReminderHours: orZero(v.count("reminder_hours_before", &f)), AsksYes: new(v.ticked("reminder_asks_yes")),
		YesWithinHours: orZero(v.count("yes_within_hours", &f)), RetouchAgainWeeks: orZero(v.count("retouch_again_weeks", &f)), LateMinutes: orZero(v.count("late_minutes", &f)),
		LateByItself: new(v.ticked("late_by_itself")), TellChecks: new(v.ticked("tell_checks")), InvitationsNeedYes: new(v.ticked("invitations_need_yes")), Language: v.typed("language")}
	for _, k := range api.MessageKinds() {
		if !slices.Contains(v.list("sent"), k.Kind) {
			r.NotSent = append(r.NotSent, k.Kind)
		}
	}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	_, err := v.ask(http.MethodPut, "/message-rules", r, nil)
	return answer{to: "/set-up/messages?done=saved"}, err
}

// clockOnly leaves the seconds out that some browsers send.
func clockOnly(s string) string { return s[:min(len(s), 5)] }

func previewPart(languages []api.LanguageInList, asked api.MessagePreviewRequest) part {
	var kinds, tags []pages.Option
	for _, k := range api.MessageKinds() {
		kinds = append(kinds, pages.Option{ID: k.Kind, Name: k.Words})
	}
	for _, l := range languages {
		tags = append(tags, pages.Option{ID: l.Tag, Name: l.Tag})
	}
	return part{ID: "preview", Title: "How a message reads", Text: []string{"With an invented client and an invented visit. Nobody gets it."},
		Forms: []form{{ID: "preview", Action: "/set-up/messages/preview#preview", Fields: []pages.Field{
			pages.Select("preview-kind", "Message that says", "", asked.Kind, kinds, ""),
			pages.Select("preview-language", "Language", "", asked.Language, tags, "the salon's"),
			pages.Tick("preview-to_guardian", "As who answers for a minor gets it", "", asked.Guardian),
		}, Buttons: save("Show it")}}}
}

func (v *visit) previewMessage() (answer, error) {
	ask := api.MessagePreviewRequest{Kind: v.typed("kind"), Language: v.typed("language"), Guardian: v.ticked("to_guardian")}
	var m api.MessagePreviewBody
	if _, err := v.site.Into(v.ctx, api.Question{Method: http.MethodPost, Path: "/message-preview", Body: ask}, &m); err != nil {
		return answer{}, err
	}
	languages, _, err := tagged[struct{ Items []api.LanguageInList }](v, "/languages")
	if err != nil {
		return answer{}, err
	}
	s := v.sheet("How a message reads", link{Href: "/set-up/messages", Text: "Messages"})
	s.Parts = append(s.Parts,
		part{Title: m.Subject, Text: []string{"Language: " + m.Language + ". The mail as text:"}, Pre: []string{m.Text}},
		part{Title: "As a text message", Pre: []string{m.Short}},
		part{Title: "What the mail says in a reader for HTML", Text: []string{"Its words; how it looks is up to the reader."}, Pre: []string{textOfHTML(m.HTML)}},
		previewPart(languages.Items, ask))
	return answer{sheet: s}, nil
}

func languagesPart(list []api.LanguageInList) part {
	p := part{ID: "languages", Title: "Languages"}
	for _, l := range list {
		x := link{Href: "/set-up/messages/languages/" + l.Tag, Text: l.Tag}
		var more []string
		if l.Shipped {
			more = append(more, "came with the program")
		}
		if l.Used {
			more = append(more, "used where a client named none")
		}
		if n := len(l.Missing); n > 0 {
			more = append(more, countWords(n, "text")+" missing, which are English instead")
		}
		if l.Problem != "" {
			more = append(more, l.Problem)
		}
		x.More = strings.Join(more, "; ")
		p.List = append(p.List, x)
	}
	p.Forms = []form{{ID: "language", Action: "/set-up/messages/languages", Fields: []pages.Field{pages.Input("language-tag", "Another language", "A tag such as de or pt-br; it begins with the English texts", "text", "")},
		Buttons: []button{{Text: "Write its texts"}}}}
	return p
}

func (v *visit) languageSheet() (*sheet, error) {
	tag := v.c.Param("tag")
	s := v.sheet("Texts in "+tag, link{Href: "/set-up/messages", Text: "Messages"})
	l, etag, err := tagged[api.LanguageBody](v, api.Path("languages", tag))
	known := err == nil
	if status(err) == http.StatusNotFound { // a new one begins with the English texts
		l, _, err = tagged[api.LanguageBody](v, "/languages/en")
	}
	if err != nil {
		return nil, err
	}
	text := indented(l.Document)
	f := form{ID: "texts", Action: "/set-up/messages/languages/" + tag, Fields: []pages.Field{
		pages.Area("texts-document", "The texts", "JSON: names in quotes stay, texts behind the colons are yours; {words in braces} are filled", text)}, Buttons: save("Save these texts")}
	if known && etag != "" {
		f.Hidden = []hidden{version(etag)}
	}
	p := part{Forms: []form{f}}
	if !known {
		p.Text = []string{"The salon has no texts in this language yet. Below are the English ones, to be translated; “tag” has to become “" + tag + "”."}
	}
	for _, m := range l.Missing {
		p.List = append(p.List, link{Text: "missing, English instead: " + m})
	}
	if known && !l.Shipped {
		p.Forms = append(p.Forms, press("remove", "/set-up/messages/languages/"+tag+"/remove", "Remove these texts", "", version(etag)))
	}
	s.Parts = append(s.Parts, p)
	return s, nil
}

func indented(doc json.RawMessage) string {
	var out bytes.Buffer
	if json.Indent(&out, doc, "", "  ") != nil {
		return string(doc)
	}
	return out.String()
}

func (v *visit) saveLanguage() (answer, error) {
	text := v.typed("document")
	v.at["/document"] = v.name("document")
	if !json.Valid([]byte(text)) {
		var f faults
		f.add(v, "document", "This is not JSON: "+jsonFault(text)+".")
		return answer{}, f
	}
	_, err := v.ask(http.MethodPut, api.Path("languages", v.c.Param("tag")), api.LanguageBody{Document: json.RawMessage(text), Missing: []string{}}, nil)
	return answer{to: "/set-up/messages?done=saved#languages"}, err
}

// jsonFault says where text stops to be JSON.
func jsonFault(text string) string {
	var x any
	err := json.Unmarshal([]byte(text), &x)
	if e, ok := errorAs[*json.SyntaxError](err); ok {
		at := text[:min(int(e.Offset), len(text))]
		return fmt.Sprintf("in line %d, %s", strings.Count(at, "\n")+1, e.Error())
	}
	return "it cannot be read"
}
