//! Ellipsoids seen along the depth axis: where a line of sight meets them and how they face.

/// A place or direction: x to the right, y down, z towards the lens.
pub(super) type Vec3 = [f32; 3];

pub(super) fn dot(a: Vec3, b: Vec3) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(super) fn add(a: Vec3, b: Vec3) -> Vec3 {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(super) fn times(a: Vec3, k: f32) -> Vec3 {
    a.map(|v| v * k)
}

pub(super) fn unit(a: Vec3) -> Vec3 {
    times(a, 1.0 / dot(a, a).sqrt().max(1e-9))
}

fn cross(a: Vec3, b: Vec3) -> Vec3 {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// What a solid is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Matter {
    /// Hard, shining wing case with rows of pits.
    Shell,
    /// The same, finely pitted: thorax and head.
    Pitted,
    /// Facetted eye.
    Eye,
    /// Dark legs, feelers and jaws.
    Limb,
    /// Plant stem.
    Stem,
}

/// An ellipsoid.
#[derive(Debug, Clone)]
pub(super) struct Solid {
    centre: Vec3,
    axes: [Vec3; 3],
    radii: Vec3,
    pub(super) matter: Matter,
    /// Half extent across and down.
    reach: (f32, f32),
}

/// Where a line of sight meets a solid.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hit {
    pub(super) z: f32,
    pub(super) normal: Vec3,
    /// Place on the unit sphere that the solid is a stretched copy of.
    pub(super) local: Vec3,
}

impl Solid {
    /// An ellipsoid whose first axis points along `axis` and whose second lies close to down.
    pub(super) fn new(centre: Vec3, axis: Vec3, radii: Vec3, matter: Matter) -> Solid {
        let first = unit(axis);
        let helper = if first[1].abs() > 0.95 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
        let third = unit(cross(first, helper));
        let second = cross(third, first);
        // The third axis faces the lens, so that patterns are seen the same way round.
        let axes = if third[2] < 0.0 {
            [first, second, times(third, -1.0)]
        } else {
            [first, second, third]
        };
        let extent = |c: usize| (0..3).map(|k| (axes[k][c] * radii[k]).powi(2)).sum::<f32>().sqrt();
        Solid { centre, axes, radii, matter, reach: (extent(0), extent(1)) }
    }

    /// A limb segment between two joints.
    pub(super) fn between(from: Vec3, to: Vec3, radius: f32, matter: Matter) -> Solid {
        let along = add(to, times(from, -1.0));
        let half = 0.5 * dot(along, along).sqrt();
        let centre = times(add(from, to), 0.5);
        Solid::new(centre, along, [half + 0.6 * radius, radius, radius], matter)
    }

    /// The same moved.
    pub(super) fn moved(&self, by: Vec3) -> Solid {
        Solid { centre: add(self.centre, by), ..self.clone() }
    }

    /// The same turned about a place: `yaw_deg` about the upright axis, then `turn_deg` in the
    /// plane of the picture.
    pub(super) fn turned(&self, about: Vec3, turn_deg: f32, yaw_deg: f32) -> Solid {
        let (ts, tc) = turn_deg.to_radians().sin_cos();
        let (ys, yc) = yaw_deg.to_radians().sin_cos();
        let rotated = |v: Vec3| {
            let (x, z) = (yc * v[0] + ys * v[2], yc * v[2] - ys * v[0]);
            [tc * x - ts * v[1], ts * x + tc * v[1], z]
        };
        let centre = add(about, rotated(add(self.centre, times(about, -1.0))));
        let axes = self.axes.map(rotated);
        let extent =
            |c: usize| (0..3).map(|k| (axes[k][c] * self.radii[k]).powi(2)).sum::<f32>().sqrt();
        Solid { centre, axes, reach: (extent(0), extent(1)), ..self.clone() }
    }

    /// Columns it can be seen in.
    pub(super) fn columns(&self) -> (f32, f32) {
        (self.centre[0] - self.reach.0, self.centre[0] + self.reach.0)
    }

    /// Rows it can be seen in.
    pub(super) fn rows(&self) -> (f32, f32) {
        (self.centre[1] - self.reach.1, self.centre[1] + self.reach.1)
    }

    /// The three radii.
    pub(super) fn radii(&self) -> Vec3 {
        self.radii
    }

    /// The nearest point on the line of sight at x, y.
    pub(super) fn hit(&self, x: f32, y: f32) -> Option<Hit> {
        let offset = [x - self.centre[0], y - self.centre[1], 0.0];
        let mut q = [0.0; 3];
        let mut d = [0.0; 3];
        for k in 0..3 {
            q[k] = dot(self.axes[k], offset) / self.radii[k];
            d[k] = self.axes[k][2] / self.radii[k];
        }
        let (a, b, c) = (dot(d, d), dot(q, d), dot(q, q) - 1.0);
        let root = b * b - a * c;
        if root < 0.0 {
            return None;
        }
        let t = (-b + root.sqrt()) / a;
        let local = add(q, times(d, t));
        let mut normal = [0.0; 3];
        for ((axis, radius), l) in self.axes.iter().zip(self.radii).zip(local) {
            normal = add(normal, times(*axis, l / radius));
        }
        Some(Hit { z: self.centre[2] + t, normal: unit(normal), local })
    }

    /// The place of the surface in a local direction and its normal.
    pub(super) fn surface(&self, local: Vec3) -> (Vec3, Vec3) {
        let mut place = self.centre;
        let mut normal = [0.0; 3];
        for ((axis, radius), l) in self.axes.iter().zip(self.radii).zip(local) {
            place = add(place, times(*axis, l * radius));
            normal = add(normal, times(*axis, l / radius));
        }
        (place, unit(normal))
    }
}
