package api

// MessageKindName is a kind of message as people call it.
type MessageKindName struct {
	Kind, Words string
	ToStaff     bool
}

// MessageKinds lists every kind of message, those to clients first.
func MessageKinds() []MessageKindName {
	var out []MessageKindName
	for _, list := range [][]messageKind{clientKinds, staffKinds} {
		for _, k := range list {
			out = append(out, MessageKindName{string(k.kind), k.words, k.topic == atWorkHere})
		}
	}
	return out
}
