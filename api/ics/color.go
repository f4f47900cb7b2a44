package ics

import "strings"

// cssColors holds the 147 colour names of CSS Color Module Level 3, section
// 4.3, which COLOR takes its values from (RFC 7986 section 5.9). Hexadecimal
// colours are not among them.
var cssColors = func() map[string]bool {
	names := map[string]bool{}
	for name := range strings.FieldsSeq(cssColorNames) {
		names[name] = true
	}
	return names
}()

const cssColorNames = `
	aliceblue antiquewhite aqua aquamarine azure beige bisque black blanchedalmond blue
	blueviolet brown burlywood cadetblue chartreuse chocolate coral cornflowerblue cornsilk
	crimson cyan darkblue darkcyan darkgoldenrod darkgray darkgreen darkgrey darkkhaki
	darkmagenta darkolivegreen darkorange darkorchid darkred darksalmon darkseagreen
	darkslateblue darkslategray darkslategrey darkturquoise darkviolet deeppink deepskyblue
	dimgray dimgrey dodgerblue firebrick floralwhite forestgreen fuchsia gainsboro ghostwhite
	gold goldenrod gray green greenyellow grey honeydew hotpink indianred indigo ivory khaki
	lavender lavenderblush lawngreen lemonchiffon lightblue lightcoral lightcyan
	lightgoldenrodyellow lightgray lightgreen lightgrey lightpink lightsalmon lightseagreen
	lightskyblue lightslategray lightslategrey lightsteelblue lightyellow lime limegreen linen
	magenta maroon mediumaquamarine mediumblue mediumorchid mediumpurple mediumseagreen
	mediumslateblue mediumspringgreen mediumturquoise mediumvioletred midnightblue mintcream
	mistyrose moccasin navajowhite navy oldlace olive olivedrab orange orangered orchid
	palegoldenrod palegreen paleturquoise palevioletred papayawhip peachpuff peru pink plum
	powderblue purple red rosybrown royalblue saddlebrown salmon sandybrown seagreen seashell
	sienna silver skyblue slateblue slategray slategrey snow springgreen steelblue tan teal
	thistle tomato turquoise violet wheat white whitesmoke yellow yellowgreen
`
