//! Series of one still subject: the same scene through the same lens at several apertures, each
//! frame a little moved, as files and as the light behind them.

use crate::core::random::SplitMix64;
use crate::error::Result;
use crate::simulator::camera::{Camera, LinearFrame, Pose};
use crate::simulator::dng::{dng, read_out};
use crate::simulator::file::{Tags, jpeg};
use crate::simulator::optics::SimulatedLens;
use crate::simulator::scene::{Scene, SceneKind, SceneSpec};
use crate::simulator::sensor::{SimulatedRendering, SimulatedSensor, developed};
use crate::simulator::surface::SurfaceLook;

/// What to photograph, and how.
#[derive(Debug, Clone, Copy)]
pub struct SeriesSpec {
    /// Seed of scene and movement.
    pub seed: u64,
    /// What is photographed.
    pub kind: SceneKind,
    /// Width of the frames, px.
    pub width_px: usize,
    /// Height of the frames, px.
    pub height_px: usize,
    /// Magnification.
    pub magnification: f64,
    /// Pixel pitch, µm.
    pub pitch_um: f64,
    /// How far the subject is out of focus: sigma of the blur disc at f/4, px.
    pub off_focus_px: f64,
    /// Depth of a tilted surface over the frame's height, px on the subject.
    pub relief_px: f32,
    /// Greatest shift of a frame, px; the first frame of the first step stands still.
    pub shift_px: f64,
    /// Greatest turn of a frame, degrees.
    pub turn_deg: f64,
}

impl SeriesSpec {
    /// A textured plane in focus on a stand: 576 x 576 px at 1:1.
    pub fn usual(kind: SceneKind, seed: u64) -> SeriesSpec {
        SeriesSpec {
            seed,
            kind,
            width_px: 576,
            height_px: 576,
            magnification: 1.0,
            pitch_um: 6.0,
            off_focus_px: 0.0,
            relief_px: 0.0,
            shift_px: 0.0,
            turn_deg: 0.0,
        }
    }
}

/// How a frame is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Take {
    /// Marked f-number.
    pub f_number: f64,
    /// ISO.
    pub iso: u16,
    /// Exposure time, s.
    pub exposure_s: f64,
    /// Number of the frame in the series: seeds its movement and its noise.
    pub number: u64,
    /// Where it looks; `None` for the movement that the seed gives.
    pub pose: Option<Pose>,
}

/// A scene ready to be photographed.
pub struct SimulatedSeries {
    spec: SeriesSpec,
    scene: Scene,
}

/// Share of full scale that a white sheet gives.
pub const WHITE: f32 = 0.8;

impl SimulatedSeries {
    /// Makes the scene.
    pub fn new(spec: SeriesSpec) -> SimulatedSeries {
        let scene = Scene::make(&SceneSpec {
            kind: spec.kind,
            seed: spec.seed,
            width_px: spec.width_px,
            height_px: spec.height_px,
            relief_px: spec.relief_px,
            colour: true,
            look: SurfaceLook::USUAL,
        });
        SimulatedSeries { spec, scene }
    }

    /// The lens at an aperture.
    pub fn lens(&self, f_number: f64) -> SimulatedLens {
        let m = self.spec.magnification;
        SimulatedLens {
            n_eff: f_number * (1.0 + m),
            magnification: m,
            pitch_um: self.spec.pitch_um,
        }
    }

    /// The camera at an aperture.
    pub fn camera(&self, f_number: f64) -> (Camera, f32) {
        let wide = self.lens(4.0);
        let off_px = wide.dz_um_for_disc_sigma(self.spec.off_focus_px) / wide.object_um_per_px();
        let focus_z_px = self.scene.subject_z_px + off_px as f32;
        let camera = Camera::new(self.scene.clone(), self.lens(f_number), (focus_z_px, focus_z_px));
        (camera, focus_z_px)
    }

    /// Light of a frame.
    pub fn light(&self, camera: &(Camera, f32), take: &Take) -> LinearFrame {
        let pose = take.pose.unwrap_or_else(|| self.pose(take.number));
        camera.0.expose(&pose, camera.1, self.spec.width_px, self.spec.height_px)
    }

    /// Where frame `number` looks.
    fn pose(&self, number: u64) -> Pose {
        if number == 0 {
            return Pose::STRAIGHT;
        }
        let mut random = SplitMix64::new(self.spec.seed ^ number.wrapping_mul(0x9E37_79B9));
        random.next_u64();
        let mut within = |most: f64| random.between(-most, most) as f32;
        let shift = self.spec.shift_px / std::f64::consts::SQRT_2;
        Pose {
            centre_px: (within(shift), within(shift)),
            rotation_deg: within(self.spec.turn_deg),
            scale: 1.0,
        }
    }

    fn tags(&self, take: &Take) -> Tags {
        Tags {
            time: format!("2031:06:15 10:{:02}:{:02}", take.number / 60 % 60, take.number % 60),
            marked_f_number: Some(take.f_number),
            exposure_s: take.exposure_s,
            iso: take.iso,
            flash: false,
            pitch_um: self.spec.pitch_um,
            ..Tags::invented()
        }
    }

    fn seed(&self, take: &Take) -> u64 {
        self.spec.seed.wrapping_mul(1_000_003)
            ^ (take.number + 1).wrapping_mul(7_919)
            ^ u64::from(take.iso) << 32
    }

    /// A raw file of that light.
    ///
    /// # Errors
    /// As [`dng`].
    pub fn raw(
        &self,
        light: &LinearFrame,
        take: &Take,
        sensor: &SimulatedSensor,
    ) -> Result<Vec<u8>> {
        let plain = plain_rendering(f64::from(take.iso));
        dng(&read_out(light, sensor, &plain, self.seed(take)), &self.tags(take))
    }

    /// A JPEG of that light.
    ///
    /// # Errors
    /// As [`jpeg`].
    pub fn rendered(
        &self,
        light: &LinearFrame,
        take: &Take,
        sensor: &SimulatedSensor,
        noise_reduction: f32,
    ) -> Result<Vec<u8>> {
        let rendering = SimulatedRendering {
            noise_reduction,
            sharpen: 0.5,
            contrast: 0.3,
            ..plain_rendering(f64::from(take.iso))
        };
        let picture = developed(light, sensor, &rendering, self.seed(take));
        jpeg(&picture, 95, false, Some(&self.tags(take)))
    }
}

fn plain_rendering(iso: f64) -> SimulatedRendering {
    SimulatedRendering {
        iso,
        exposure: WHITE,
        noise_reduction: 0.0,
        sharpen_px: 1.0,
        sharpen: 0.0,
        contrast: 0.0,
    }
}
