package desk

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestWhereAWishAboutMessagesWasSaidIsNamed(t *testing.T) {
	for how, want := range map[string]string{"page": "retouch due: not wished, by herself on a page of the salon", "one_click": "retouch due: not wished, by the button of a mail program", "desk": "retouch due: not wished"} {
		require.Equal(t, want, choiceWords(api.MessageChoiceBody{Kind: "retouch", Said: "stopped", How: how}))
	}
	require.Equal(t, "every message by mail: agreed to, noted by desk", choiceWords(api.MessageChoiceBody{Way: "mail", Said: "agreed", How: "desk", NotedBy: "desk"}))
}
