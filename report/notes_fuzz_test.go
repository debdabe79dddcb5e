package report

import (
	"bytes"
	"strings"
	"testing"
)

// FuzzNotes: whatever a maker's notes hold, an entry goes to their end, and
// written again it changes no byte outside itself; entries of other stages are
// bytes like any other.
func FuzzNotes(f *testing.F) {
	f.Add([]byte(""), "a\n", "b\n", []byte("after"))
	f.Add([]byte("# Notes\r\n\r\n- cut\r\n"), "one\ntwo\n", "", []byte("\r\n\r\nMore.\r\n"))
	f.Add([]byte("no end"), "x\n", "y\nz\n", []byte("\n"))
	f.Add([]byte("<!-- saddlewise entry 0123456789ab: -->"), "x\n", "y\n", []byte{})
	f.Add([]byte("弦\n\n\n"), "$1 \\1\n", "x\n", []byte("  \n"))
	f.Fuzz(func(t *testing.T, notes []byte, first, second string, typed []byte) {
		const own, other = "0123456789ab", "ba9876543210"
		for _, s := range []string{first, second} {
			if strings.Contains(s, "<!--") || strings.Contains(s, "\r") {
				return // an entry's body is escaped text
			}
		}
		one, err := withEntry(notes, own, first)
		if err != nil {
			return // refused, and so left alone
		}
		if from, _, _ := findEntry(notes, own); from < 0 && !bytes.HasPrefix(one, notes) {
			t.Fatalf("%q became %q", notes, one)
		}
		two, err := withEntry(one, other, first)
		if err != nil {
			return
		}
		two = append(two, typed...) // the maker writes on
		three, err := withEntry(two, own, second)
		if err != nil {
			return
		}
		checkOutside(t, two, three, own)
		again, err := withEntry(three, own, second)
		if err != nil || !bytes.Equal(again, three) {
			t.Fatalf("writing the same again changes %q to %q (%v)", three, again, err)
		}
	})
}

// checkOutside compares all bytes outside the entry id.
func checkOutside(t *testing.T, before, after []byte, id string) {
	t.Helper()
	f1, t1, err1 := findEntry(before, id)
	f2, t2, err2 := findEntry(after, id)
	if err1 != nil || err2 != nil || f1 < 0 || f2 < 0 {
		t.Fatalf("no entry in %q or %q: %v, %v", before, after, err1, err2)
	}
	if !bytes.Equal(before[:f1], after[:f2]) || !bytes.Equal(before[t1:], after[t2:]) {
		t.Fatalf("bytes outside the entry changed: %q to %q", before, after)
	}
}
