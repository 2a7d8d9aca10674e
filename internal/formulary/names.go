package formulary

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/fault"
)

// named is the fields of records that name a product or a muscle of what is done here. What was given elsewhere, as a patient tells it, may be a product
// that no edition has.
var named = map[protoreflect.FullName]protoreflect.Name{
	"needlebook.chart.v1.Dose": "product", "needlebook.chart.v1.VialPresentation": "product",
	"needlebook.chart.v1.LotIdentity": "product", "needlebook.chart.v1.Injection": "muscle",
}

// CheckNames refuses the first product in a record that the edition does not have (UNKNOWN_PRODUCT), or muscle that the anatomy does not
// (INVALID_FIELD).
func (e *Edition) CheckNames(m proto.Message) error { return e.checkNames(m.ProtoReflect(), "") }

func (e *Edition) checkNames(m protoreflect.Message, at string) (err error) {
	field := named[m.Descriptor().FullName()]
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		path := join(at, string(fd.Name()))
		switch {
		case fd.Name() == field:
			err = e.checkName(fd.Name(), v.String(), path)
		case fd.Message() != nil && fd.IsList():
			for i := range v.List().Len() {
				if err == nil {
					err = e.checkNames(v.List().Get(i).Message(), fmt.Sprintf("%s[%d]", path, i))
				}
			}
		case fd.Message() != nil && !fd.IsMap():
			err = e.checkNames(v.Message(), path)
		}
		return err == nil
	})
	return err
}

func join(at, name string) string {
	if at == "" {
		return name
	}
	return at + "." + name
}

func (e *Edition) checkName(kind protoreflect.Name, read, at string) error {
	if kind == "product" {
		if _, ok := e.Product(read); !ok {
			return fault.New(faultv1.Reason_REASON_UNKNOWN_PRODUCT, at, read, "a product of the formulary by its nonproprietary name, such as onabotulinumtoxinA")
		}
		return nil
	}
	if _, ok := anatomy.MuscleByCode(read); !ok {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, at, read, "a muscle of the anatomy by its code, such as depressor_anguli_oris")
	}
	return nil
}
