package main

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestComplain(t *testing.T) {
	var b strings.Builder
	complain(&b, errors.Join(errors.New("the file \x1b]0;x\a\u202eevil is none\r"), fmt.Errorf("and\n\u009b31m this")))
	assert.Equal(t, "dutybench: the file  ]0;x evil is none\ndutybench: and\ndutybench:  31m this\n", b.String())
}

// Whatever an error quotes, it does not steer the terminal.
func TestErrorsArePlain(t *testing.T) {
	c := newDesk(t).call("records", "list", "--store", "\x1b[31m\u202eshelf")
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "shelf")
	assert.NotContains(t, c.stderr, "\x1b")
	assert.NotContains(t, c.stderr, "\u202e")
}
