package chairtime

import (
	"fmt"
	"strconv"
)

// Hours says a whole number of minutes as people at a desk do: "45 minutes",
// "1 hour", "3¼ hours", "2 hours 20 minutes". Negative numbers get a minus.
func Hours(minutes int) string {
	if minutes < 0 {
		return "−" + Hours(-minutes)
	}
	h, m := minutes/60, minutes%60
	part := map[int]string{0: "", 15: "¼", 30: "½", 45: "¾"}
	quarter, even := part[m]
	switch {
	case h == 0:
		return counted(m, "minute")
	case even && m == 0:
		return counted(h, "hour")
	case even:
		return strconv.Itoa(h) + quarter + " hours"
	}
	return counted(h, "hour") + " " + counted(m, "minute")
}

// hoursBetween says a span, naming the unit once where both ends share it.
func hoursBetween(from, to int) string {
	if from >= 60 && to > 60 && from%15 == 0 && to%15 == 0 {
		part := []string{"", "¼", "½", "¾"}
		return fmt.Sprintf("between %d%s and %s", from/60, part[from%60/15], Hours(to))
	}
	return "between " + Hours(from) + " and " + Hours(to)
}

func counted(n int, unit string) string {
	return strconv.Itoa(n) + " " + plural(n, unit)
}
