package api_test

// schema is as much of JSON Schema as the description uses.
type schema struct {
	Ref        string            `json:"$ref"`
	Type       any               `json:"type"` // a name or a list with null
	Properties map[string]schema `json:"properties"`
	Required   []string          `json:"required"`
	Items      *schema           `json:"items"`
	Enum       []any             `json:"enum"`
	Format     string            `json:"format"`
	Minimum    *float64          `json:"minimum"`
	Maximum    *float64          `json:"maximum"`
	ReadOnly   bool              `json:"readOnly"`
}
