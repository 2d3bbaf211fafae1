//! Indexed triangles, before anything is known of them.

/// Triangles over shared corners, in millimetres, counter-clockwise as seen from outside.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mesh {
    /// Places of the corners.
    pub vertices: Vec<[f64; 3]>,
    /// Three indices into `vertices` a triangle.
    pub triangles: Vec<[u32; 3]>,
}

impl Mesh {
    /// The corners of each triangle in turn.
    pub fn corners(&self) -> impl ExactSizeIterator<Item = [[f64; 3]; 3]> + '_ {
        self.triangles.iter().map(|triangle| triangle.map(|index| self.vertices[index as usize]))
    }

    /// The lowest and the highest x, y and z, or `None` when there is no corner.
    pub fn bounds(&self) -> Option<[[f64; 3]; 2]> {
        let first = *self.vertices.first()?;
        Some(self.vertices.iter().fold([first, first], |[low, high], vertex| {
            [
                std::array::from_fn(|axis| low[axis].min(vertex[axis])),
                std::array::from_fn(|axis| high[axis].max(vertex[axis])),
            ]
        }))
    }
}
