package board

import "fmt"

// hours says minutes as hours and minutes: "3 h 20 min booked".
func hours(minutes int) string {
	switch h, m := minutes/60, minutes%60; {
	case minutes == 0:
		return "nothing booked"
	case h == 0:
		return fmt.Sprintf("%d min booked", m)
	case m == 0:
		return fmt.Sprintf("%d h booked", h)
	default:
		return fmt.Sprintf("%d h %d min booked", h, m)
	}
}
