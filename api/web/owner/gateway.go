package owner

import (
	"errors"
	"net/http"

	"chairblock/api"
	"chairblock/api/pages"
)

func errorAs[T error](err error) (T, bool) { return errors.AsType[T](err) }

// status is the status of a problem, 0 for none.
func status(err error) int {
	if p, ok := errorAs[*api.Problem](err); ok {
		return p.Status
	}
	return 0
}

// gatewayPart is where text messages go.
func (v *visit) gatewayPart() (part, error) {
	p := part{ID: "gateway", Title: "Text messages", Text: []string{"They go to a gateway that turns them into text messages, signed with a secret."}}
	g, tag, err := tagged[api.WebhookBody](v, "/webhook")
	there := err == nil
	if err != nil && status(err) != http.StatusNotFound {
		return p, err
	}
	f := form{ID: "gateway", Action: "/set-up/messages/gateway", Fields: []pages.Field{
		pages.Input("gateway-address", "Address of the gateway", "Begins with https://", "url", g.Address),
		pages.Tick("gateway-enabled", "Messages go there", "", g.Enabled),
	}, Buttons: save("Save the gateway")}
	if !there {
		p.Forms = []form{f}
		return p, nil
	}
	f.Hidden = []hidden{version(tag)}
	if g.Problem != "" {
		p.List = append(p.List, link{Text: "It was switched off: " + g.Problem})
	}
	if g.OldUntil != nil {
		p.List = append(p.List, link{Text: "The secret before this one works until " + g.OldUntil.In(v.salon.Location).Format("Mon 2 January 15:04")})
	}
	p.Forms = []form{f, press("gatewaytest", "/set-up/messages/gateway/test", "Ask whether it hears us", ""),
		press("secret", "/set-up/messages/gateway/secret", "Make a new secret", "", version(tag)),
		press("gone", "/set-up/messages/gateway/remove", "Send no text messages", "", version(tag))}
	return p, nil
}

// once shows a secret, which no other page does again.
func (v *visit) once(title, secret, what, back string, trail ...link) answer {
	s := v.sheet(title, trail...)
	if secret == "" { // a second press, after somebody has used what the first one made
		s.Parts = append(s.Parts, part{Text: []string{"It was made before and is in use already. It cannot be shown again: end it and make another one."}, Links: []link{{Href: back, Text: "Go back"}}})
		return answer{sheet: s}
	}
	s.Parts = append(s.Parts, part{Text: []string{what, "It is shown only now. Copy it before you leave this page."}, Pre: []string{secret}, Links: []link{{Href: back, Text: "It is copied"}}})
	return answer{sheet: s}
}

func (v *visit) saveGateway() (answer, error) {
	b := api.WebhookBody{Address: v.typed("address"), Enabled: v.ticked("enabled")}
	if v.form.Get("version") != "" {
		_, err := v.ask(http.MethodPut, "/webhook", b, nil)
		return answer{to: "/set-up/messages?done=saved#gateway"}, err
	}
	var g api.WebhookBody
	if _, err := v.ask(http.MethodPost, "/webhook", b, &g); err != nil {
		return answer{}, err
	}
	return v.once("The gateway's secret", g.Secret, "The gateway checks with it that a message comes from the salon.", "/set-up/messages#gateway"), nil
}

func (v *visit) newSecret() (answer, error) {
	var g api.WebhookBody
	if _, err := v.ask(http.MethodPost, "/webhook/secret", nil, &g); err != nil {
		return answer{}, err
	}
	return v.once("The gateway's new secret", g.Secret, "The old one signs beside it for a day: change it at the gateway until then.", "/set-up/messages#gateway"), nil
}

func (v *visit) testGateway() (answer, error) {
	var r api.WebhookTestBody
	if _, err := v.ask(http.MethodPost, "/webhook/test", nil, &r); err != nil {
		return answer{}, err
	}
	s := v.sheet("The gateway", link{Href: "/set-up/messages", Text: "Messages"})
	words := "It hears us and believes us. Nobody got a message."
	if !r.Accepted {
		words = "It did not take what we sent: " + r.Problem + "."
	}
	s.Parts = append(s.Parts, part{Text: []string{words}, Links: []link{{Href: "/set-up/messages#gateway", Text: "Go back"}}})
	return answer{sheet: s}, nil
}
