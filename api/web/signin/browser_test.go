package signin_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/signin"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// seen demands of a page what every page has to keep, and takes its picture.
func seen(b *chromium.Browser, name string) {
	b.T.Helper()
	b.OpenToAll()
	b.Fits()
	b.Shots("signin-" + name)
}

func TestTheFirstOwnerComesInAndADeskSharesItsScreen(t *testing.T) {
	s := webtest.New(t, signin.Mount)
	var owner api.AccountBody
	s.Ask("POST", "/accounts", person("carla@example.org", "Carla Moon", "owner"), 201, &owner)
	enrolled(s, t, "4711", webtest.Object{"mail": "ada@example.org", "staff_id": s.Ada, "roles": []string{"lead"}})
	b := chromium.New(t)

	b.Open(owner.Link)
	seen(b, "choose")
	b.Fill(map[string]string{"password": "short", "again": "short"})
	b.Press("main button.main")
	require.Contains(t, b.Text(), "Password is too short")
	seen(b, "choose-wrong")
	b.Fill(map[string]string{"password": password, "again": password})
	b.Press("main button.main")
	require.Equal(t, "/", b.Eval("location.pathname"))
	b.Open(s.URL + "/me")
	seen(b, "me")
	require.Equal(t, "Carla Moon", b.Eval(`document.querySelector(".whois bdi").textContent`))
	b.Quiet("422")

	b.Scripts(false)
	b.Press(`.whois button`)
	b.Scripts(true)
	require.Equal(t, "/sign-in", b.Eval("location.pathname"))
	require.Contains(t, b.Text(), "You are signed out")
	b.Light(s.URL + "/sign-in")
	seen(b, "sign-in")
	require.Equal(t, "username current-password", b.Eval(`document.getElementById("f-mail").autocomplete + " " + document.getElementById("f-password").autocomplete`))
	b.Open(s.URL + "/set-up/sign-in")
	require.Equal(t, "/sign-in", b.Eval("location.pathname"))
	b.Fill(map[string]string{"mail": "carla@example.org", "password": "something wrong"})
	b.Press("main button.main")
	require.Contains(t, b.Text(), "the mail address or the password is wrong")
	b.Fill(map[string]string{"password": password})
	b.Press("main button.main")
	require.Equal(t, "/set-up/sign-in", b.Eval("location.pathname"), "where she wanted to be")
	seen(b, "people")
	b.Fill(map[string]string{"mail": "noor@example.org", "staff_id": "Noor Vale"})
	b.Click(`input[name="roles"][value="lead"]`)
	b.Click(`input[name="roles"][value="desk"]`)
	b.Press("main button.main")
	require.Contains(t, b.Text(), "Hand this over to Noor Vale")
	seen(b, "invited")
	b.Press(`tbody a`)
	seen(b, "person")

	b.Open(s.URL + "/me")
	b.Press(`form[action="/me/share"] button`)
	require.Contains(t, b.Eval(`document.querySelector(".whois").innerText`), "Carla Moon · until 08:33")
	b.Press(`.whois button`) // she goes
	require.Equal(t, "/", b.Eval("location.pathname"))
	b.Open(s.URL + "/code")
	seen(b, "code")
	b.Light(s.URL + "/code")
	b.Open(s.URL + "/book")
	b.Fill(map[string]string{"first_name": "Nora"})
	b.Press(`button[value="estimate"]`)
	require.Contains(t, b.Text(), "What you typed is kept")
	b.Click(`input[name="who"]`)
	b.Fill(map[string]string{"code": "0815"})
	b.Press("main button.main")
	require.Contains(t, b.Text(), "there are four more tries")
	seen(b, "code-wrong")
	b.Fill(map[string]string{"code": "4711"})
	b.Keys("\r")
	b.Until("the form can be sent", `document.querySelector("h1").textContent === "Go on"`)
	seen(b, "go-on")
	b.Press("main button.main")
	require.Equal(t, "/book", b.Eval("location.pathname"))
	require.Equal(t, "Nora", b.Value("first_name"))
	b.Quiet("401", "403", "422")
	s.At(webtest.Start.Add(4 * time.Minute))
	b.Open(s.URL + "/me")
	require.Equal(t, "/code", b.Eval("location.pathname"), "read only again")

	b.Open(s.Link(store.LeadRole, s.Ada))
	b.Open(s.URL + "/me")
	require.True(t, strings.HasPrefix(b.Eval(`document.querySelector("h1").textContent`), "Ada"))
	seen(b, "by-link")
	b.Quiet("401", "403", "404", "422")
}

func TestWhoIsLookedForOnAReadOnlyScreenIsNotLost(t *testing.T) {
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "90210", person("carla@example.org", "Carla", "desk"))
	s.Client("Juna", "Kestrel")
	b := chromium.New(t)
	b.Open(s.URL + "/sign-in")
	b.Fill(map[string]string{"mail": "carla@example.org", "password": password, "shared": "true"})
	b.Press("main button.main")
	b.Open(s.URL + "/book")
	s.At(webtest.Start.Add(4 * time.Minute)) // nobody has touched it
	b.Fill(map[string]string{"note": "brings a child"})
	b.Fill(map[string]string{"who": "Jun"})
	const found = `document.getElementById("found").innerText`
	b.Until("it is said in a sentence", found+`.includes("This screen is read only until somebody says who she is, so no client can be looked for. What you typed is kept:")`)
	require.Equal(t, "Jun", b.Value("who"))
	seen(b, "read-only-search")
	b.Eval(`document.getElementById("f-who").focus(); ""`)
	b.Keys("\r")
	b.Until("Enter leads to the way on", `document.activeElement.innerText === "Say who you are"`)
	require.Empty(t, b.Value("first_name"), "nobody has found that she is new")
	b.Press("#found button")
	require.Contains(t, b.Text(), "What you typed is kept")
	b.Click(`input[name="who"]`)
	b.Fill(map[string]string{"code": "90210"})
	b.Keys("\r")
	b.Until("the form can be sent", `document.querySelector("h1").textContent === "Go on"`)
	b.Press("main button.main")
	require.Equal(t, "/book", b.Eval("location.pathname"))
	require.Contains(t, b.Text(), "1 client found.")
	require.Contains(t, b.Text(), "Juna K.")
	require.Equal(t, "brings a child", b.Value("note"))
	b.Quiet("403")
}
