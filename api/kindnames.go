package api

import "strings"

// MessageKindName is a kind of message as people call it.
type MessageKindName struct {
	Kind, Words string // what it says, after "messages that say"
	Name        string // what people here call it
	ToStaff     bool
}

// MessageKinds lists every kind of message, those to clients first.
func MessageKinds() []MessageKindName {
	var out []MessageKindName
	for _, list := range [][]messageKind{clientKinds, staffKinds} {
		for _, k := range list {
			out = append(out, MessageKindName{string(k.kind), k.words, k.name, k.topic == atWorkHere})
		}
	}
	return out
}

// KindName is what people here call a kind of message.
func KindName(kind string) string {
	if k, ok := kindNamed(kind); ok {
		return k.name
	}
	return strings.ReplaceAll(kind, "_", " ")
}
