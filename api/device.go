package api

import "strings"

// deviceWords says in words which browser says it is which, "a browser" when it says
// nothing that is known. It is only for people to tell their own browsers apart.
func deviceWords(agent string) string {
	first := func(list [][2]string) string {
		for _, x := range list {
			if strings.Contains(agent, x[0]) {
				return x[1]
			}
		}
		return ""
	}
	// Every browser names those that it descends from, too: the youngest comes first.
	browser := first([][2]string{{"Firefox/", "Firefox"}, {"FxiOS/", "Firefox"}, {"Edg", "Edge"}, {"OPR/", "Opera"}, {"Vivaldi/", "Vivaldi"},
		{"SamsungBrowser/", "Samsung browser"}, {"CriOS/", "Chrome"}, {"Chrome/", "Chrome"}, {"Safari/", "Safari"}})
	machine := first([][2]string{{"iPhone", "an iPhone"}, {"iPad", "an iPad"}, {"Android", "Android"}, {"Windows", "Windows"}, {"CrOS", "a Chromebook"},
		{"Macintosh", "a Mac"}, {"Linux", "Linux"}})
	switch {
	case browser == "":
		return "a browser"
	case machine == "":
		return browser
	}
	return browser + " on " + machine
}
