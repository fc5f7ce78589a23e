package plots

import (
	"image/color"
	"io"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

func writePNG(w io.Writer, d *drawing, dpi int) error {
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(d.w), vg.Length(d.h)), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(d.paper))
	// vg measures from the bottom left corner.
	at := func(p point) vg.Point { return vg.Point{X: vg.Length(p.x), Y: vg.Length(d.h - p.y)} }
	for _, s := range d.shapes {
		for _, part := range pieces(s) {
			path := vgPath(part, at)
			if s.fill != nil {
				c.SetColor(*s.fill)
				c.Fill(path)
			}
			if s.stroke != nil {
				vgPen(c, s.stroke)
				c.Stroke(path)
			}
		}
	}
	for _, l := range d.labels {
		c.SetColor(l.color)
		p := point{l.box().x0, l.at.y}
		c.FillString(face(l.size, l.bold), at(p), printable(l.text, l.bold))
	}
	_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(w)
	return err
}

// pieces cuts a shape so that each piece has few lines: the rasteriser's time
// grows with the square of the lines that cross a row of dots. Neighbouring
// pieces of a line share a corner. Dashed lines stay whole, for the dashes' sake.
func pieces(s shape) []shape {
	const most = 48
	var out []shape
	add := func(paths ...[]point) {
		piece := s
		piece.paths = paths
		out = append(out, piece)
	}
	if s.stroke != nil && len(s.stroke.dash) > 0 {
		return []shape{s}
	}
	var short [][]point
	for _, path := range s.paths {
		for !s.closed && len(path) > most {
			add(path[:most])
			path = path[most-1:]
		}
		if short = append(short, path); len(short) == most {
			add(short...)
			short = nil
		}
	}
	if len(short) > 0 {
		add(short...)
	}
	return out
}

func vgPath(s shape, at func(point) vg.Point) vg.Path {
	var path vg.Path
	for _, run := range s.paths {
		for i, p := range run {
			if i == 0 {
				path.Move(at(p))
			} else {
				path.Line(at(p))
			}
		}
		if s.closed {
			path.Close()
		}
	}
	return path
}

func vgPen(c vg.Canvas, p *pen) {
	c.SetColor(color.Color(p.color))
	c.SetLineWidth(vg.Length(p.width))
	dash := make([]vg.Length, len(p.dash))
	for i, x := range p.dash {
		dash[i] = vg.Length(x)
	}
	c.SetLineDash(dash, 0)
}
