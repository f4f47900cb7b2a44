package stylist_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func TestRinseNowBringsItsWordsBeforeTheEyesAndNothingElseBelowTheFinger(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Window(360, 740)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	b.Click(`.nextbar:not([hidden]) button`)
	b.Until("solution is on", `!document.getElementById("rinsebar").hidden`)
	require.Eventually(t, func() bool { return noted(s, v.ID)["start"] == 1 }, time.Minute, 20*time.Millisecond)
	time.Sleep(2100 * time.Millisecond) // a second press within two seconds does nothing anyway

	b.Eval(`scrollTo({ top: document.body.scrollHeight, behavior: "instant" }); ""`)
	require.Greater(t, b.Number(`scrollY`), 300.0)
	b.Eval(`window.at = document.querySelector("#rinsebar button").getBoundingClientRect(); window.pressedTwice = [];
		addEventListener("click", (e) => pressedTwice.push(e.target.textContent));
		document.querySelector("#rinsebar button").click();
		setTimeout(() => document.elementFromPoint(at.x + 20, at.y + 20).click(), 300);
		setTimeout(() => document.querySelector(".nextbar:not([hidden]) button").click(), 500); ""`)
	b.Until("the words are in sight", `(() => { const r = document.getElementById("rinse-title").getBoundingClientRect();
		return r.height > 0 && r.top >= 0 && r.bottom < innerHeight / 2; })()`)
	require.Equal(t, "rinse-title", b.Eval(`document.activeElement.id`))
	time.Sleep(700 * time.Millisecond)
	require.Equal(t, `["Rinse now"]`, b.Eval(`JSON.stringify(pressedTwice)`), "a second press reaches nothing")

	// Once the server has it, the words are still in sight, and what comes next can be pressed again.
	require.Eventually(t, func() bool { return rinsed(s, v.ID) }, time.Minute, 20*time.Millisecond)
	b.Until("what is next is back", `getComputedStyle(document.querySelector(".nextbar:not([hidden]) button")).visibility === "visible"`)
	time.Sleep(300 * time.Millisecond)
	require.Equal(t, "rinse-title", b.Eval(`document.activeElement.id`))
	require.Less(t, b.Number(`document.getElementById("rinse-title").getBoundingClientRect().top`), 370.0)
	require.Zero(t, noted(s, v.ID)["finish"])
}
