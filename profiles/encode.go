package profiles

import (
	"fmt"
	"reflect"

	"dutybench/profiles/strict"
)

const heading = `# Profile: what a good unit of one type does.
# Every number carries its unit; a number without quotes has none.
`

// Encode writes a profile as commented TOML, the same bytes for the same
// profile. What it writes reads back equal but for Source and SHA256, which
// come from the file; a Format of 0 becomes the present one. A profile that
// Parse would refuse is refused.
func Encode(p *Profile) ([]byte, error) {
	if p.Format != 0 && p.Format != Format {
		return nil, fmt.Errorf("profiles: cannot write format %d: this program writes format %d", p.Format, Format)
	}
	data, err := strict.Encode(heading, p.Kind, fileOf(p))
	if err != nil {
		return nil, fmt.Errorf("profiles: cannot write profile %q: %w", p.Name, err)
	}
	_, err = Parse(data, "profile to be written", func(kind string) (any, error) {
		if p.Section == nil || kind != p.Kind {
			return nil, nil
		}
		return reflect.New(reflect.TypeOf(p.Section).Elem()).Interface(), nil
	})
	if err != nil {
		return nil, fmt.Errorf("profiles: cannot write profile %q, it would be refused: %w", p.Name, err)
	}
	return data, nil
}
