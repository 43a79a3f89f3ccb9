//! Reading drawings back: what a program finds in an SVG by its data attributes.

/// A contact as it stands in a drawing.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Drawn {
    /// Its name.
    pub(crate) contact: String,
    /// Its wires' ids.
    pub(crate) wires: Vec<String>,
    /// Its wires' colours, empty where the wire has none.
    pub(crate) colours: Vec<String>,
    /// Its wires' sizes.
    pub(crate) gauges: Vec<String>,
    /// Centre of its cavity.
    pub(crate) x: f64,
    /// Centre of its cavity, down.
    pub(crate) y: f64,
}

/// The contacts of every face in an SVG, in the drawing's order.
pub(crate) fn read_back(svg: &str) -> Vec<Drawn> {
    let read = roxmltree::Document::parse(svg).unwrap();
    let contacts = read.descendants().filter(|n| n.attribute("data-contact").is_some());
    contacts.map(drawn).collect()
}

fn drawn(node: roxmltree::Node) -> Drawn {
    let list = |name: &str, between: &str| {
        let text = node.attribute(name);
        text.map_or(Vec::new(), |t| t.split(between).map(str::to_owned).collect())
    };
    let circle = node.children().find(|n| n.tag_name().name() == "circle").unwrap();
    let number = |name: &str| circle.attribute(name).unwrap().parse::<f64>().unwrap();
    Drawn {
        contact: node.attribute("data-contact").unwrap().to_owned(),
        wires: list("data-wire", " "),
        colours: list("data-colour", " "),
        gauges: list("data-gauge", "; "),
        x: number("cx"),
        y: number("cy"),
    }
}
