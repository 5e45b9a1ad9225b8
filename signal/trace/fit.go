package trace

// Fit gives the comment lines that Write takes, in their order, and of each
// other one a clause that says why it is refused. The samples of a test are
// never given up for a comment.
func Fit(meta []Entry) (kept []Entry, refused []string) {
	var m comments
	kept = make([]Entry, 0, len(meta))
	for _, e := range meta {
		problem := unwritable(e)
		if problem == "" {
			problem, _ = m.add(e)
		}
		if problem != "" {
			refused = append(refused, problem)
			continue
		}
		kept = append(kept, e)
	}
	return kept, refused
}
