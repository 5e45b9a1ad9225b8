package rig

import (
	"fmt"
	"strings"
	"time"

	"dutybench/bench/chip/mcp320x"
)

// otherInput is a channel beside the current, and how often an SPI converter turns
// to it; every 0: there is none.
type otherInput struct {
	input mcp320x.Input
	every time.Duration
}

var channelNames = [channelCount]string{"supply", "line", "thermistor", "its reference", "position", "load switch"}

// spiOthers are the channels that share the converter with the current.
func (d *Description) spiOthers() (list [channelCount]otherInput) {
	list[supply] = otherInput{mcp320x.Single(d.Supply.Channel), supplyEvery}
	if d.Supply.Minus != nil {
		list[supply].input = mcp320x.Differ(d.Supply.Channel)
	}
	if l := d.LineLevel; l != nil {
		list[line] = otherInput{mcp320x.Single(l.Channel), lineEvery}
	}
	if p := d.Position; p != nil && p.Sense != nil {
		list[position] = otherInput{mcp320x.Single(p.Sense.Channel), positionEvery}
	}
	if l := d.Load; l != nil && l.Level != nil {
		list[node] = otherInput{mcp320x.Single(l.Level.Channel), nodeEvery}
	}
	if t := d.Temperature; t != nil && t.Chip == "ntc" {
		list[thermistor] = otherInput{mcp320x.Single(t.Channel), temperatureEvery}
		if t.Reference != OwnReference {
			list[reference] = otherInput{mcp320x.Single(t.Reference), temperatureEvery}
		}
	}
	return list
}

// othersWords say for the record what the other channels take: each of their
// readings stands in the place of one of the current, and none is lost by it.
func (d *Description) othersWords(interval time.Duration) string {
	var each []string
	share := 0.0
	for k, o := range d.spiOthers() {
		if o.every > 0 {
			each = append(each, fmt.Sprintf("%s every %v", channelNames[k], o.every))
			share += interval.Seconds() / o.every.Seconds()
		}
	}
	return fmt.Sprintf("%.2g %% of the conversions: %s", 100*share, strings.Join(each, ", "))
}
