//! From folders to pixels, on small files made here.

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use exif::Tag;
use image::{DynamicImage, GrayImage, ImageFormat, Rgb, RgbImage};
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};
use stopwise::core::Luma;
use stopwise::image::{
    Decoded, FileKind, FoundFile, FoundFiles, Pixels, Want, decode, decode_into, find, header_size,
    load, read_header,
};
use stopwise::{Error, SkipReason};

use crate::exposure::{field, rational, segment, text};

const W: usize = 96;
const H: usize = 80;

/// A smooth coloured picture with its own look for each seed.
fn rgb(seed: usize) -> Vec<u8> {
    (0..W * H)
        .flat_map(|i| {
            let (x, y) = (i % W, i / W);
            [60 + x, 60 + y, 90 + (x + y + seed * 9) / 3].map(|v| v.min(255) as u8)
        })
        .collect()
}

fn jpeg_with(seed: usize, set: impl FnOnce(&mut Encoder<&mut Vec<u8>>)) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = Encoder::new(&mut out, 95);
    encoder.set_sampling_factor(SamplingFactor::F_2_2);
    set(&mut encoder);
    encoder.encode(&rgb(seed), W as u16, H as u16, ColorType::Rgb).unwrap();
    out
}

fn jpeg(seed: usize) -> Vec<u8> {
    jpeg_with(seed, |_| ())
}

fn saved(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    picture.write_to(&mut out, format).unwrap();
    out.into_inner()
}

fn rgb_image(seed: usize) -> DynamicImage {
    RgbImage::from_raw(W as u32, H as u32, rgb(seed)).unwrap().into()
}

struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        Folder(tempfile::tempdir().unwrap())
    }

    fn put(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.0.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        path
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    fn find(&self) -> FoundFiles {
        find(&[self.path().to_path_buf()]).unwrap()
    }
}

fn names(found: &FoundFiles) -> Vec<&str> {
    found.items.iter().map(|i| i.shown.as_str()).collect()
}

fn why(found: &FoundFiles, name: &str) -> SkipReason {
    let named = found.skipped.iter().find(|(p, _)| p.ends_with(name));
    named.unwrap_or_else(|| panic!("{name} was not skipped: {:?}", found.skipped)).1.clone()
}

#[test]
fn a_folder_gives_its_pictures_in_natural_order() {
    let folder = Folder::new();
    for (i, name) in
        ["frame_10.jpg", "frame_2.JPG", "Frame_1.jpeg", "b/9.jpg", "b/10.jpg"].iter().enumerate()
    {
        folder.put(name, &jpeg(i));
    }
    folder.put(".hidden.jpg", &jpeg(20));
    folder.put("._frame_2.JPG", b"\0\x05\x16\x07 twin");
    folder.put(".trash/x.jpg", &jpeg(21));
    folder.put("THMBNL/x.jpg", &jpeg(22));
    for other in ["frame_2.xmp", "notes.txt", "clip.mov", "clip.MP4", "Thumbs.db"] {
        folder.put(other, b"something");
    }
    let found = folder.find();
    assert_eq!(
        names(&found),
        ["b/9.jpg", "b/10.jpg", "Frame_1.jpeg", "frame_2.JPG", "frame_10.jpg"]
    );
    assert_eq!(found.skipped, []);
}

#[test]
fn kinds_are_told_by_content() {
    let folder = Folder::new();
    folder.put("a.jpg", &saved(&rgb_image(1), ImageFormat::Png));
    folder.put("b.png", &saved(&rgb_image(2), ImageFormat::Tiff));
    folder.put("c.tif", &saved(&rgb_image(3), ImageFormat::WebP));
    folder.put("d.webp", &jpeg(4));
    folder.put("e.jpg", b"this is a letter");
    folder.put("f.jpg", b"");
    folder.put("g.heic", b"\0\0\0\x18ftypheic");
    folder.put("h.tif", b"II\x2a\0\x08\0\0\0\x01\0\x12\xc6\x01\0\x04\0\0\0\x01\x04\0\0\0\0\0\0");
    let found = folder.find();
    let kinds: Vec<FileKind> = found.items.iter().map(|i| i.kind).collect();
    let pictures = [FileKind::Png, FileKind::Tiff, FileKind::Webp, FileKind::Jpeg];
    assert_eq!(kinds[..4], pictures);
    for item in &found.items[..4] {
        let frame = read_header(item).unwrap();
        assert_eq!((frame.width_px, frame.height_px), (W as u32, H as u32));
        load(&frame, Want::Colour).unwrap();
    }
    assert_eq!(why(&found, "e.jpg"), SkipReason::NotAPicture);
    assert_eq!(why(&found, "f.jpg"), SkipReason::Empty);
    let why_not = why(&found, "g.heic").to_string();
    assert!(why_not.starts_with("not supported: HEIC. Set the camera or phone to JPEG"));
    // Raw by its content: tried where raw files are read, and refused for what it lacks.
    if cfg!(feature = "raw") {
        assert_eq!((kinds.len(), kinds[4]), (5, FileKind::Raw));
        let why = read_header(&found.items[4]).unwrap_err();
        assert!(matches!(why, SkipReason::Damaged(_) | SkipReason::Unsupported(_)), "{why}");
    } else {
        assert_eq!(why(&found, "h.tif"), SkipReason::Raw);
    }
}

#[test]
fn what_was_asked_for_by_name_is_answered_for() {
    let folder = Folder::new();
    let letter = folder.put("notes.txt", b"wind from the left");
    let film = folder.put("clip.mov", b"\0\0\0\x14ftypqt  ");
    let hidden = folder.put(".kept.jpg", &jpeg(1));
    let found = find(&[letter, film, hidden.clone(), hidden.clone()]).unwrap();
    assert_eq!(found.items.len(), 1);
    assert_eq!(found.items[0].path, hidden);
    assert_eq!(why(&found, "notes.txt"), SkipReason::NotAPicture);
    assert!(matches!(why(&found, "clip.mov"), SkipReason::Unsupported(_)));
    let nowhere = folder.path().join("nowhere");
    assert!(
        matches!(find(std::slice::from_ref(&nowhere)), Err(Error::Missing { path }) if path == nowhere)
    );
    let empty = Folder::new();
    assert_eq!(empty.find(), FoundFiles::default());
}

#[test]
fn raw_files_and_their_jpegs_are_one_exposure() {
    let folder = Folder::new();
    let raw = folder.put("IMG_1.CR2", b"II\x2a\0\x10\0\0\0CR\x02\0");
    folder.put("img_1.jpg", &jpeg(1));
    folder.put("img_1.tif", &saved(&rgb_image(9), ImageFormat::Tiff));
    folder.put("img_2.arw", b"II\x2a\0\x08\0\0\0\0\0\0\0\0\0");
    folder.put("other/img_2.jpg", &jpeg(2));
    let found = folder.find();
    if cfg!(feature = "raw") {
        assert_eq!(names(&found), ["IMG_1.CR2", "img_1.tif", "img_2.arw", "other/img_2.jpg"]);
        let jpeg = folder.path().join("img_1.jpg");
        assert_eq!(found.items[0].partner.as_deref(), Some(jpeg.as_path()));
        assert_eq!(found.items[1].partner, None);
        assert_eq!(found.items[2].partner, None);
        assert_eq!(found.skipped, []);
        // This raw file holds nothing: its JPEG stands in.
        let frame = read_header(&found.items[0]).unwrap();
        assert_eq!((frame.kind, frame.path), (FileKind::Jpeg, jpeg));
        assert_eq!(frame.shown, "img_1.jpg");
        assert_eq!(frame.partner.as_deref(), Some(raw.as_path()));
        assert!(read_header(&found.items[2]).is_err());
    } else {
        assert_eq!(names(&found), ["img_1.jpg", "img_1.tif", "other/img_2.jpg"]);
        assert_eq!(found.items[0].partner.as_deref(), Some(raw.as_path()));
        assert_eq!(found.items[1].partner, None);
        assert_eq!(found.items[2].partner, None);
        assert_eq!(why(&found, "img_2.arw"), SkipReason::Raw);
        assert_eq!(found.skipped.len(), 1);
    }
    // The JPEG alone finds it too.
    let one = find(&[folder.path().join("img_1.jpg")]).unwrap();
    assert_eq!(one.items[0].partner.as_deref(), Some(raw.as_path()));
}

#[test]
fn copies_are_skipped_once_and_near_copies_are_not() {
    let folder = Folder::new();
    let picture = jpeg(1);
    folder.put("a.jpg", &picture);
    folder.put("sub/copy.jpg", &picture);
    let mut near = picture.clone();
    // The last byte of entropy-coded data, in front of the end marker.
    let at = near.len() - 3;
    near[at] ^= 1;
    folder.put("near.jpg", &near);
    let found = folder.find();
    assert_eq!(names(&found), ["a.jpg", "near.jpg"].map(|n| n.to_owned()).to_vec());
    assert_eq!(why(&found, "sub/copy.jpg"), SkipReason::Duplicate("a.jpg".into()));
}

#[cfg(unix)]
#[test]
fn links_in_circles_and_dead_links_end() {
    use std::os::unix::fs::symlink;
    let folder = Folder::new();
    folder.put("day/a.jpg", &jpeg(1));
    symlink(folder.path(), folder.path().join("day/back")).unwrap();
    symlink("nothing", folder.path().join("day/dead.jpg")).unwrap();
    symlink("nothing", folder.path().join("day/dead")).unwrap();
    symlink("a.jpg", folder.path().join("day/also.jpg")).unwrap();
    let found = folder.find();
    assert_eq!(names(&found), ["day/a.jpg"]);
    assert!(matches!(why(&found, "dead.jpg"), SkipReason::Unreadable(_)));
    assert_eq!(found.skipped.len(), 1);
}

#[test]
fn several_folders_are_shown_as_given() {
    let folder = Folder::new();
    let a = folder.put("a/1.jpg", &jpeg(1));
    let b = folder.put("b/1.jpg", &jpeg(2));
    let found = find(&[folder.path().join("b"), folder.path().join("a")]).unwrap();
    let shown: Vec<PathBuf> = found.items.iter().map(|i| PathBuf::from(&i.shown)).collect();
    assert_eq!(shown, [a, b]);
}

fn header_of(bytes: &[u8], kind: FileKind) -> Result<stopwise::image::Frame, SkipReason> {
    let folder = Folder::new();
    let path = folder.put("frame", bytes);
    read_header(&FoundFile { path, shown: "frame".into(), kind, partner: None })
}

#[test]
fn exposure_is_found_in_every_container() {
    let exif = segment(&[field(Tag::FNumber, rational(11, 1)), field(Tag::Make, text("Invented"))]);
    let mut app1 = b"Exif\0\0".to_vec();
    app1.extend(&exif);
    let f_number = |bytes: &[u8], kind| {
        let frame = header_of(bytes, kind).unwrap();
        frame.exposure.and_then(|e| e.f_number).map(|k| k.value)
    };
    // Behind 128 kB of other segments, too.
    let filled = jpeg_with(1, |e| {
        for n in [2, 3] {
            e.add_app_segment(n, vec![7; 65_000]).unwrap();
        }
        e.add_app_segment(1, app1.clone()).unwrap();
    });
    assert_eq!(f_number(&filled, FileKind::Jpeg), Some(11.0));

    let mut png = saved(&rgb_image(1), ImageFormat::Png);
    let mut chunk = b"eXIf".to_vec();
    chunk.extend(&exif);
    let crc = crc32(&chunk);
    let mut whole = (exif.len() as u32).to_be_bytes().to_vec();
    whole.extend(&chunk);
    whole.extend(crc.to_be_bytes());
    png.splice(33..33, whole);
    assert_eq!(f_number(&png, FileKind::Png), Some(11.0));

    let plain = saved(&rgb_image(1), ImageFormat::WebP);
    let mut body = b"WEBPVP8X\x0a\0\0\0\x08\0\0\0".to_vec();
    body.extend(&(W as u32 - 1).to_le_bytes()[..3]);
    body.extend(&(H as u32 - 1).to_le_bytes()[..3]);
    body.extend(&plain[12..]);
    body.extend(b"EXIF");
    body.extend((exif.len() as u32).to_le_bytes());
    body.extend(&exif);
    body.resize(body.len() + exif.len() % 2, 0);
    let mut webp = b"RIFF".to_vec();
    webp.extend((body.len() as u32).to_le_bytes());
    webp.extend(&body);
    assert_eq!(f_number(&webp, FileKind::Webp), Some(11.0));

    let none = header_of(&jpeg(1), FileKind::Jpeg).unwrap();
    assert_eq!(none.exposure, None);
}

fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, b| {
        (0..8).fold(
            crc ^ u32::from(*b),
            |c, _| if c & 1 == 1 { c >> 1 ^ 0xedb8_8320 } else { c >> 1 },
        )
    })
}

fn luma_bytes(decoded: &Decoded) -> Vec<u8> {
    match decoded.luma() {
        Luma::U8 { data, channels, .. } => data.iter().step_by(channels).copied().collect(),
        Luma::U16 { data, .. } => data.iter().map(|v| (v >> 8) as u8).collect(),
    }
}

#[test]
fn jpeg_luma_is_the_files_own_whatever_is_wanted() {
    for sampling in [SamplingFactor::F_1_1, SamplingFactor::F_2_1, SamplingFactor::F_2_2] {
        for progressive in [false, true] {
            let file = jpeg_with(3, |e| {
                e.set_sampling_factor(sampling);
                e.set_progressive(progressive);
            });
            let colour = decode(&file, FileKind::Jpeg, Want::Colour).unwrap();
            let luma = decode(&file, FileKind::Jpeg, Want::Luma).unwrap();
            match colour.pixels {
                Pixels::YCbCr8(_) => assert!(progressive),
                Pixels::Planar8(_) => assert!(!progressive),
                _ => panic!("no colour"),
            }
            assert!(matches!(luma.pixels, Pixels::Grey8(_)));
            assert_eq!(luma_bytes(&colour), luma_bytes(&luma));
            let near = colour.rgb_crop(10, 20, 30, 30).0;
            for (i, p) in near.chunks(3).enumerate() {
                let at = ((20 + i / 30) * W + 10 + i % 30) * 3;
                for (a, b) in p.iter().zip(&rgb(3)[at..at + 3]) {
                    assert!(a.abs_diff(*b) <= 6, "{p:?}");
                }
            }
        }
    }
}

#[test]
fn a_buffer_of_an_earlier_picture_leaves_no_trace() {
    let fresh = decode(&jpeg(1), FileKind::Jpeg, Want::Colour).unwrap();
    for dirty in [vec![9u8; 10], vec![9u8; W * H * 3], vec![9u8; W * H * 5]] {
        let reused = decode_into(&jpeg(1), FileKind::Jpeg, Want::Colour, dirty).unwrap();
        assert_eq!(reused, fresh);
    }
    // 4:2:0 keeps a quarter of each colour's samples.
    assert_eq!(fresh.into_buffer().len(), W * H * 3 / 2);
}

// JFIF: grey JPEG is luma; RGB kept as RGB is brought to YCbCr with the same weights.
#[test]
fn other_colours_of_jpeg() {
    let mut grey = Vec::new();
    Encoder::new(&mut grey, 95).encode(&[120; W * H], W as u16, H as u16, ColorType::Luma).unwrap();
    let decoded = decode(&grey, FileKind::Jpeg, Want::Colour).unwrap();
    assert!(luma_bytes(&decoded).iter().all(|v| v.abs_diff(120) <= 1));
    assert_eq!(decoded.rgb_crop(0, 0, 1, 1).0, [luma_bytes(&decoded)[0]; 3]);
    // Stored as they are, once by the Adobe mark and once by component names.
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, 95);
    encoder.set_sampling_factor(SamplingFactor::F_1_1);
    encoder.encode(&rgb(2), W as u16, H as u16, ColorType::Ycbcr).unwrap();
    let mut adobe = bytes.clone();
    adobe.splice(2..2, *b"\xff\xee\0\x0eAdobe\0\x64\0\0\0\0\0");
    let mut named = bytes;
    let sof = named.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    let sos = named.windows(2).position(|w| w == [0xff, 0xda]).unwrap();
    for (i, name) in b"RGB".iter().enumerate() {
        named[sof + 10 + 3 * i] = *name;
        named[sos + 5 + 2 * i] = *name;
    }
    for file in [adobe, named] {
        let colour = decode(&file, FileKind::Jpeg, Want::Colour).unwrap();
        let luma = decode(&file, FileKind::Jpeg, Want::Luma).unwrap();
        assert_eq!(luma_bytes(&colour), luma_bytes(&luma));
        for (got, want) in colour.rgb_crop(0, 0, W, H).0.iter().zip(rgb(2)) {
            assert!(got.abs_diff(want) <= 6, "{got} {want}");
        }
    }
    let mut inks = Vec::new();
    Encoder::new(&mut inks, 95)
        .encode(&[50; W * H * 4], W as u16, H as u16, ColorType::Cmyk)
        .unwrap();
    assert!(matches!(decode(&inks, FileKind::Jpeg, Want::Luma), Err(SkipReason::Unsupported(_))));
}

#[test]
fn lossless_formats_keep_their_values() {
    let want: Vec<u8> = rgb(5)
        .chunks(3)
        .map(|p| {
            (0.299 * f64::from(p[0]) + 0.587 * f64::from(p[1]) + 0.114 * f64::from(p[2])).round()
                as u8
        })
        .collect();
    for (format, kind) in [
        (ImageFormat::Png, FileKind::Png),
        (ImageFormat::Tiff, FileKind::Tiff),
        (ImageFormat::WebP, FileKind::Webp),
    ] {
        let with_alpha = DynamicImage::from(rgb_image(5).to_rgba8());
        for picture in [rgb_image(5), with_alpha] {
            let file = saved(&picture, format);
            assert_eq!(header_size(&file, kind).unwrap(), (W as u32, H as u32));
            for wanted in [Want::Luma, Want::Colour] {
                let decoded = decode(&file, kind, wanted).unwrap();
                let off = luma_bytes(&decoded).iter().zip(&want).map(|(a, b)| a.abs_diff(*b)).max();
                assert!(off <= Some(1), "{off:?}");
            }
        }
    }
}

#[test]
fn sixteen_bits_are_kept() {
    let deep = image::ImageBuffer::<Rgb<u16>, Vec<u16>>::from_fn(W as u32, H as u32, |x, _| {
        Rgb([(x * 601) as u16; 3])
    });
    let deep = DynamicImage::from(deep);
    for picture in [deep.clone(), deep.to_luma16().into(), deep.to_rgba16().into()] {
        for (format, kind) in
            [(ImageFormat::Png, FileKind::Png), (ImageFormat::Tiff, FileKind::Tiff)]
        {
            let decoded = decode(&saved(&picture, format), kind, Want::Colour).unwrap();
            let Luma::U16 { data, .. } = decoded.luma() else { panic!("not 16 bit") };
            assert!(data[..W].iter().zip(0..).all(|(v, x)| *v == x * 601));
            assert!(decoded.rgb_crop(50, 0, 1, 1).0[0].abs_diff((50 * 601 / 257) as u8) <= 1);
        }
    }
    let float = DynamicImage::from(deep.to_rgb32f());
    let file = saved(&float, ImageFormat::Tiff);
    assert!(matches!(decode(&file, FileKind::Tiff, Want::Luma), Err(SkipReason::Unsupported(_))));
}

#[test]
fn cut_files_are_damaged_never_whole() {
    let files = [
        (jpeg(1), FileKind::Jpeg),
        (jpeg_with(1, |e| e.set_progressive(true)), FileKind::Jpeg),
        (saved(&rgb_image(1), ImageFormat::Png), FileKind::Png),
        (saved(&rgb_image(1), ImageFormat::Tiff), FileKind::Tiff),
        (saved(&rgb_image(1), ImageFormat::WebP), FileKind::Webp),
    ];
    for (file, kind) in files {
        assert_eq!(decode(&[], kind, Want::Luma), Err(SkipReason::Empty));
        for percent in [1, 10, 50, 90] {
            let cut = &file[..file.len() * percent / 100];
            match decode(cut, kind, Want::Luma) {
                Err(SkipReason::Damaged(_)) => {}
                other => panic!("{kind:?} at {percent} %: {:?}", other.map(|d| d.width_px)),
            }
            let _ = header_of(cut, kind);
        }
    }
}

// A cut within the last row of blocks leaves only the end marker to tell by.
#[test]
fn a_jpeg_without_its_last_bytes_is_damaged() {
    for progressive in [false, true] {
        let file = jpeg_with(1, |e| e.set_progressive(progressive));
        for lost in 1..8 {
            let cut = decode(&file[..file.len() - lost], FileKind::Jpeg, Want::Luma);
            assert!(matches!(cut, Err(SkipReason::Damaged(_))), "{lost} bytes lost");
        }
        // Something behind the picture does no harm.
        let mut longer = file;
        longer.extend([0; 5000]);
        decode(&longer, FileKind::Jpeg, Want::Luma).unwrap();
    }
}

#[test]
fn sizes_in_headers_are_checked_before_memory_is_taken() {
    let one = saved(&GrayImage::new(1, 1).into(), ImageFormat::Png);
    let small = SkipReason::TooSmall { width_px: 1, height_px: 1 };
    assert_eq!(decode(&one, FileKind::Png, Want::Luma), Err(small.clone()));
    assert_eq!(header_of(&one, FileKind::Png), Err(small));

    let mut png = one;
    png[16..24].copy_from_slice(&[0, 0, 0xea, 0x60, 0, 0, 0xea, 0x60]);
    let crc = crc32(&png[12..29]);
    png[29..33].copy_from_slice(&crc.to_be_bytes());
    let large = SkipReason::TooLarge { width_px: 60_000, height_px: 60_000 };
    assert_eq!(decode(&png, FileKind::Png, Want::Luma), Err(large.clone()));
    assert_eq!(header_of(&png, FileKind::Png), Err(large));

    let mut jpeg = jpeg(1);
    let sof = jpeg.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    jpeg[sof + 5..sof + 9].copy_from_slice(&[0xff, 0xdc, 0xff, 0xdc]);
    let large = SkipReason::TooLarge { width_px: 65_500, height_px: 65_500 };
    assert_eq!(decode(&jpeg, FileKind::Jpeg, Want::Luma), Err(large.clone()));
    assert_eq!(header_of(&jpeg, FileKind::Jpeg), Err(large));
    // A size within the limit, but more than so few bytes can hold.
    jpeg[sof + 5..sof + 9].copy_from_slice(&[0x46, 0x50, 0x46, 0x50]);
    assert!(matches!(decode(&jpeg, FileKind::Jpeg, Want::Luma), Err(SkipReason::Damaged(_))));
}

#[test]
fn files_that_vanish_or_are_no_files_are_skipped() {
    let folder = Folder::new();
    let path = folder.put("a.jpg", &jpeg(1));
    let found = folder.find();
    let frame = read_header(&found.items[0]).unwrap();
    fs::remove_file(&path).unwrap();
    assert!(matches!(read_header(&found.items[0]), Err(SkipReason::Unreadable(_))));
    assert!(matches!(load(&frame, Want::Luma), Err(SkipReason::Unreadable(_))));
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]

    #[test]
    fn changed_files_are_survived(
        changes in proptest::collection::vec((0.0..1.0f64, proptest::num::u8::ANY), 1..12),
        cut in 0.3..1.0f64,
        progressive: bool,
    ) {
        let exif = segment(&[field(Tag::FNumber, rational(11, 1))]);
        let mut app1 = b"Exif\0\0".to_vec();
        app1.extend(exif);
        let jpeg = jpeg_with(1, |e| {
            e.set_progressive(progressive);
            e.add_app_segment(1, app1).unwrap();
        });
        for (mut file, kind) in [
            (jpeg, FileKind::Jpeg),
            (saved(&rgb_image(1), ImageFormat::Png), FileKind::Png),
            (saved(&rgb_image(1), ImageFormat::Tiff), FileKind::Tiff),
            (saved(&rgb_image(1), ImageFormat::WebP), FileKind::Webp),
        ] {
            for (at, byte) in &changes {
                let at = (at * file.len() as f64) as usize;
                file[at] = *byte;
            }
            file.truncate((cut * file.len() as f64) as usize);
            let _ = decode(&file, kind, Want::Colour);
            let _ = header_of(&file, kind);
        }
    }

    #[test]
    fn any_bytes_are_survived(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..300)) {
        for kind in [FileKind::Jpeg, FileKind::Png, FileKind::Tiff, FileKind::Webp, FileKind::Raw] {
            proptest::prop_assert!(decode(&bytes, kind, Want::Luma).is_err());
            let _ = header_size(&bytes, kind);
        }
    }
}
