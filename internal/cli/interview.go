package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"
)

// interview asks questions, one line each, and takes the answer in the brackets
// for an empty line.
type interview struct {
	in  *bufio.Scanner
	out io.Writer
	// defaults takes every default without asking.
	defaults bool
}

// errNoAnswer says that the answers ended before the questions did.
var errNoAnswer = errors.New("no more answers; nothing was written")

// ask asks until check is content with the answer.
func (i *interview) ask(question, usual string, check func(string) error) (string, error) {
	for {
		answer := usual
		if !i.defaults {
			fmt.Fprintf(i.out, "%s [%s] ", question, usual)
			if !i.in.Scan() {
				fmt.Fprintln(i.out)
				return "", errors.Join(fmt.Errorf("%q: %w", question, errNoAnswer), i.in.Err())
			}
			if said := printable(i.in.Text()); said != "" {
				answer = said
			}
		}
		err := check(answer)
		if err == nil {
			return answer, nil
		}
		if i.defaults {
			return "", fmt.Errorf("%s: %w", question, err)
		}
		fmt.Fprintf(i.out, "  %v\n", err)
	}
}

// printable is an answer without what arrow keys and the like leave in it.
func printable(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsGraphic(r) || r == unicode.ReplacementChar {
			return -1
		}
		return r
	}, s))
}

// choose asks for one of a list, by number or by its first column, and returns its
// index.
func (i *interview) choose(question string, list [][]string, usual int) (int, error) {
	if !i.defaults {
		fmt.Fprintln(i.out)
		t := bareTable(i.out)
		for k, columns := range list {
			t.row(append([]any{strconv.Itoa(k + 1)}, anySlice(columns)...)...)
		}
		t.flush()
	}
	chosen := usual
	_, err := i.ask(question, strconv.Itoa(usual+1), func(answer string) error {
		for k, columns := range list {
			if answer == strconv.Itoa(k+1) || strings.EqualFold(answer, columns[0]) {
				chosen = k
				return nil
			}
		}
		return fmt.Errorf("%q: give a number from 1 to %d", answer, len(list))
	})
	return chosen, err
}

// yes asks a question that is answered by yes or no.
func (i *interview) yes(question string, usual bool) (bool, error) {
	word := map[bool]string{true: "yes", false: "no"}[usual]
	answer := usual
	_, err := i.ask(question, word, func(said string) error {
		switch strings.ToLower(said) {
		case "y", "yes":
			answer = true
		case "n", "no":
			answer = false
		default:
			return fmt.Errorf("%q: answer yes or no", said)
		}
		return nil
	})
	return answer, err
}
