package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"golang.org/x/term"

	"dutybench/bench/report"
)

// env is what the program has of the world around it, so that tests run whole
// commands in their own process.
type env struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	getenv         func(string) string
	now            func() time.Time
	sleep          func(time.Duration)
	// isTerminal says whether one of the streams is a terminal, and how many
	// characters wide; 0 when that is not known.
	isTerminal func(stream any) (width int, ok bool)
	// interrupt gives a context that ends when the person or the system asks
	// the program to stop.
	interrupt func(context.Context) (context.Context, context.CancelFunc)
}

// hostEnv is that of this process.
func hostEnv() env {
	// A reader that has gone must not kill a process that holds a supply on:
	// writes then fail with an error instead.
	signal.Ignore(syscall.SIGPIPE)
	return env{
		stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr,
		getenv: os.Getenv, now: time.Now, sleep: time.Sleep,
		isTerminal: func(stream any) (int, bool) {
			f, ok := stream.(*os.File)
			if !ok || !term.IsTerminal(int(f.Fd())) {
				return 0, false
			}
			width, _, err := term.GetSize(int(f.Fd()))
			if err != nil {
				width = 0
			}
			return width, true
		},
		interrupt: func(ctx context.Context) (context.Context, context.CancelFunc) {
			ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
			// A second signal finds the usual behaviour: it ends a program
			// that hangs.
			context.AfterFunc(ctx, stop)
			return ctx, stop
		},
	}
}

// widest is as wide as text is set where the terminal's own width decides.
const widest = 100

// explained is textOptions with the budgets of all findings, or without.
func (e env) explained(width int, ascii, explain bool) report.TextOptions {
	o := e.textOptions(width, ascii)
	o.Explain = explain
	return o
}

// textOptions says what standard output can show. width 0: as the terminal.
func (e env) textOptions(width int, ascii bool) report.TextOptions {
	o := report.TextOptions{Width: width, Unicode: !ascii && e.unicode()}
	w, terminal := e.isTerminal(e.stdout)
	if o.Width == 0 && terminal {
		o.Width = min(w, widest)
	}
	o.Colour = terminal && e.getenv("NO_COLOR") == "" && e.getenv("TERM") != "dumb"
	return o
}

// unicode follows the locale's character set (POSIX, Base Definitions 8.2:
// LC_ALL before LC_CTYPE before LANG). Without any it is taken as there.
func (e env) unicode() bool {
	for _, key := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := strings.ToLower(e.getenv(key)); v != "" {
			return strings.Contains(v, "utf-8") || strings.Contains(v, "utf8")
		}
	}
	return true
}
