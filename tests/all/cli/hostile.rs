//! Files that make decoders take memory, loop or abort: each costs itself and nothing else. The
//! program runs with 1 GiB of addresses and 20 s of processor time, beside a good frame.

use std::process::{Child, Command, Output, Stdio};

use stopwise::SkipReason;
use stopwise::image::raw::{check_structure, decode_in_children, decode_raw};
use stopwise::simulator::dng::{RawPicture, dng};
use stopwise::simulator::file::Tags;

use super::{OWN, PROGRAM, Place, exposed, jpeg, jpeg_with, picture};

/// Addresses and processor time of the program.
const ADDRESSES: u64 = 1 << 30;
const SECONDS: u64 = 20;

/// Limits a process that has just begun. Its children inherit them.
#[cfg(target_os = "linux")]
fn limit(child: &Child) {
    use rustix::process::{Pid, Resource, Rlimit, prlimit};
    for (resource, limit) in [(Resource::As, ADDRESSES), (Resource::Cpu, SECONDS)] {
        let limit = Rlimit { current: Some(limit), maximum: Some(limit) };
        prlimit(Some(Pid::from_child(child)), resource, limit).unwrap();
    }
}

#[cfg(not(target_os = "linux"))]
fn limit(_: &Child) {
    eprintln!("NOT LIMITED: memory and time are not limited on this system");
}

fn limited(place: &Place, args: &[&str]) -> Output {
    limited_with(place, args, &[])
}

fn limited_with(place: &Place, args: &[&str], env: &[(&str, &str)]) -> Output {
    let mut command = Command::new(PROGRAM);
    command.current_dir(place.path()).args(args).envs(OWN).envs(env.iter().copied());
    // Threads of the tests' machine would claim addresses of their own.
    command.env("MALLOC_ARENA_MAX", "2").env("RAYON_NUM_THREADS", "2");
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let child = command.spawn().unwrap();
    limit(&child);
    child.wait_with_output().unwrap()
}

fn progressive() -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut out, 90);
    encoder.set_progressive(true);
    let (w, h) = (super::SIZE.0 as u16, super::SIZE.1 as u16);
    encoder.encode(&picture(0.9).to_luma(), w, h, jpeg_encoder::ColorType::Luma).unwrap();
    out
}

fn small_raw() -> Vec<u8> {
    raw_of((160, 120), &Tags::invented())
}

fn raw_of((width_px, height_px): (usize, usize), tags: &Tags) -> Vec<u8> {
    let data = (0..width_px * height_px)
        .map(|i| (3000 + 40 * (i % 160) + (i * 7919 % 613)) as u16)
        .collect();
    let raw = RawPicture {
        width_px,
        height_px,
        data,
        border_px: (0, 0),
        black_dn: [512; 4],
        white_dn: 16_383,
    };
    dng(&raw, tags).unwrap()
}

fn u16_at(bytes: &[u8], at: usize) -> usize {
    u16::from_le_bytes([bytes[at], bytes[at + 1]]).into()
}

fn u32_at(bytes: &[u8], at: usize) -> usize {
    u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()) as usize
}

/// Where the entries of every directory of a little-endian TIFF are, and where it says which
/// directory is next.
fn places(file: &[u8]) -> (Vec<usize>, Vec<usize>) {
    let (mut entries, mut nexts) = (Vec::new(), Vec::new());
    let mut left = vec![u32_at(file, 4)];
    while let Some(at) = left.pop() {
        let count = u16_at(file, at);
        for entry in (0..count).map(|i| at + 2 + 12 * i) {
            if [0x8769, 0x014a].contains(&u16_at(file, entry)) {
                left.push(u32_at(file, entry + 8));
            }
            entries.push(entry);
        }
        nexts.push(at + 2 + 12 * count);
    }
    (entries, nexts)
}

fn with(file: &[u8], at: usize, bytes: &[u8]) -> Vec<u8> {
    let mut file = file.to_vec();
    file[at..at + bytes.len()].copy_from_slice(bytes);
    file
}

/// A little-endian TIFF of one directory.
fn tiff(magic: u16, entries: &[(u16, u16, u32, u32)], next: u32) -> Vec<u8> {
    let mut bytes = [&b"II"[..], &magic.to_le_bytes(), &8u32.to_le_bytes()].concat();
    bytes.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        bytes.extend(tag.to_le_bytes());
        bytes.extend(kind.to_le_bytes());
        bytes.extend(count.to_le_bytes());
        bytes.extend(value.to_le_bytes());
    }
    bytes.extend(next.to_le_bytes());
    bytes.resize(bytes.len() + 300, 7);
    bytes
}

fn boxed(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    [&(body.len() as u32 + 8).to_be_bytes()[..], name, body].concat()
}

/// A CR3 with one table in its place.
fn cr3(name: &[u8; 4], table: &[u8]) -> Vec<u8> {
    let mut tree = boxed(name, table);
    for above in [b"stbl", b"minf", b"mdia", b"trak", b"moov"] {
        tree = boxed(above, &tree);
    }
    [boxed(b"ftyp", b"crx \0\0\0\x01crx isom"), tree, boxed(b"mdat", &[5; 200])].concat()
}

/// A CR3 whose compressed picture claims a size.
fn compressed_cr3(width: u32, height: u32) -> Vec<u8> {
    let size = [width, height].map(u32::to_be_bytes).concat();
    let coding = boxed(
        b"CMP1",
        &[&[0xff, 0, 0, 0x30, 1, 0, 0, 0], &size[..], &size, &[0x0e, 0x40, 0, 0], &[0; 24]]
            .concat(),
    );
    let picture = boxed(b"CRAW", &[&[0; 82][..], &coding].concat());
    cr3(b"stsd", &[&[0, 0, 0, 0, 0, 0, 0, 1], &picture[..]].concat())
}

fn png_head(width: u32, height: u32, bits: u8, colour: u8) -> Vec<u8> {
    let crc = |bytes: &[u8]| {
        // PNG specification, annex D.
        !bytes.iter().fold(!0u32, |crc, b| {
            (0..8).fold(crc ^ u32::from(*b), |c, _| (c >> 1) ^ (0xedb8_8320 * (c & 1)))
        })
    };
    let chunk = |name: &[u8; 4], data: &[u8]| {
        let body = [&name[..], data].concat();
        [&(data.len() as u32).to_be_bytes()[..], &body, &crc(&body).to_be_bytes()].concat()
    };
    let mut head = [width.to_be_bytes(), height.to_be_bytes()].concat();
    head.extend([bits, colour, 0, 0, 0]);
    // Deflate: one stored block of zeros, and then the end of the file.
    let data = [&[0x78, 0x01, 0x01, 0xff, 0xff, 0, 0][..], &[0; 65_535]].concat();
    [
        &b"\x89PNG\r\n\x1a\n"[..],
        &chunk(b"IHDR", &head),
        &chunk(b"IDAT", &data),
        &chunk(b"IEND", b""),
    ]
    .concat()
}

/// Hostile files by name.
fn hostile() -> Vec<(String, Vec<u8>)> {
    let raw = small_raw();
    let (entries, nexts) = places(&raw);
    let entry = |tag: usize| *entries.iter().find(|e| u16_at(&raw, **e) == tag).unwrap();
    let (model, first) = (entry(0x0110), u32_at(&raw, 4) as u32);
    let mut files: Vec<(String, Vec<u8>)> = Vec::new();
    let mut put = |name: &str, bytes: Vec<u8>| files.push((name.to_owned(), bytes));
    for kind in [1u8, 2, 3, 4, 5, 7, 10, 12, 99] {
        let head = [kind, 0, 0xff, 0xff, 0xff, 0xff];
        put(&format!("count-of-type-{kind}.dng"), with(&raw, model + 2, &head));
    }
    put("count-topbit.dng", with(&raw, model + 7, &[0x80]));
    put("next-is-itself.dng", with(&raw, nexts[0], &first.to_le_bytes()));
    put("next-is-itself.tif", with(&raw, nexts[0], &first.to_le_bytes()));
    put("child-is-parent.dng", with(&raw, entry(0x8769) + 8, &first.to_le_bytes()));
    let wide = with(&raw, entry(0x0100) + 8, &60_000u32.to_le_bytes());
    put("60000-px.dng", with(&wide, entry(0x0101) + 8, &60_000u32.to_le_bytes()));
    put("20000-px.dng", with(&raw, entry(0x0101) + 8, &2_000_000u32.to_le_bytes()));
    put("strip-elsewhere.dng", with(&raw, entry(0x0111) + 8, &[0xff, 0xff, 0xff, 0xfe]));
    put("strip-of-4-GB.dng", with(&raw, entry(0x0117) + 8, &[0xff; 4]));
    put("cut.dng", raw[..raw.len() / 2].to_vec());
    put("stub.nef", raw[..128].to_vec());
    let claims = [(0x010f, 2, 10, 40), (0x0110, 12, u32::MAX, 40)];
    put("panasonic-kind.rw2", tiff(0x55, &claims, 0));
    put("olympus-kind.orf", tiff(0x4f52, &claims, 0));
    put("every-entry.nef", tiff(42, &vec![(0x0110, 12, 40, 8); 4000], 0));
    put("chain.nef", tiff(42, &[(0x010f, 2, 10, 40)], 8));
    put("table.cr3", cr3(b"stsz", &[0, 0, 0, 0, 0, 0, 0, 0, 0xff, 0xff, 0xff, 0xff]));
    put("table-of-offsets.cr3", cr3(b"co64", &[0, 0, 0, 0, 0xff, 0xff, 0xff, 0xff]));
    let maker = 0x85c0_b687_820f_11e0_8111_f4ce_462b_6a48_u128.to_be_bytes();
    let of_maker = [&maker[..], &boxed(b"CMT1", &tiff(42, &claims, 0))].concat();
    put("maker.cr3", cr3(b"uuid", &of_maker));
    // Boxes of no size, or of more than there is: read again and again, or room made for.
    let head = boxed(b"ftyp", b"crx \0\0\0\x01crx isom");
    let again = [&head[..], &boxed(b"moov", &[0; 60]), &boxed(b"mdat", &[5; 200])].concat();
    put("no-size.cr3", again);
    let back = [&[0, 0, 0, 1][..], b"free", &u64::MAX.wrapping_sub(15).to_be_bytes()].concat();
    put("backwards.cr3", [&head[..], &back, &[5; 200]].concat());
    let long = [&maker[..], &[0xf0, 0, 0, 0], b"CMT2", &[0; 40]].concat();
    put("long-maker.cr3", [&head[..], &boxed(b"moov", &boxed(b"uuid", &long))].concat());
    put("60000-px.cr3", compressed_cr3(60_000, 60_000));
    put("11000-px.cr3", compressed_cr3(11_000, 11_000));
    put("boxes.cr3", (0..60).fold(cr3(b"stco", &[0; 8]), |inner, _| boxed(b"moov", &inner)));
    put("all-ones.raf", [&b"FUJIFILMCCD-RAW 0201FF"[..], &[0xff; 400]].concat());
    put("all-ones.mrw", [&b"\0MRM"[..], &[0xff; 400]].concat());
    put("all-ones.crw", [&b"II\x1a\0\0\0HEAPCCDR"[..], &[0xff; 400]].concat());
    put("all-ones.x3f", [&b"FOVb"[..], &[0xff; 400]].concat());
    put("20000-px.png", png_head(20_000, 20_000, 16, 6));
    put("8000-px.png", png_head(8_000, 8_000, 8, 2));
    let sides = [(0x0100, 4, 1, 20_000), (0x0101, 4, 1, 20_000), (0x0102, 3, 1, 16)];
    let rest = [(0x0103, 3, 1, 8), (0x0106, 3, 1, 1), (0x0111, 4, 1, 150), (0x0117, 4, 1, 100)];
    put("20000-px.tif", tiff(42, &[&sides[..], &rest].concat(), 0));
    let good = jpeg(&picture(1.0), &[]);
    let frame = good.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    put("19900-px.jpg", with(&good, frame + 5, &[0x4d, 0xbc, 0x4d, 0xbc]));
    let progressive = with(&good, frame + 1, &[0xc2]);
    put("19900-px-progressive.jpg", with(&progressive, frame + 5, &[0x4d, 0xbc, 0x4d, 0xbc]));
    put("claims-in-exif.jpg", {
        let grey = picture(1.0).to_luma();
        jpeg_with(&grey, super::SIZE, &tiff(42, &claims, 8))
    });
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/hostile");
    for file in std::fs::read_dir(folder).unwrap() {
        let path = file.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        if name != "README.md" {
            put(name, std::fs::read(&path).unwrap());
        }
    }
    files
}

/// Whether a reason speaks of the file, not of a decoder's inner types.
fn is_plain(reason: &str) -> bool {
    !["{", "}", "::", "Error", "Some(", "None", "\""].iter().any(|word| reason.contains(word))
}

#[test]
fn each_hostile_file_costs_itself_and_nothing_else() {
    let files = hostile();
    assert!(files.len() >= 40, "only {} files", files.len());
    for (name, bytes) in &files {
        let place = Place::new();
        place.put("day/good.jpg", &jpeg(&picture(1.0), &exposed(0, 0)));
        place.put(&format!("day/{name}"), bytes);
        let out = limited(&place, &["cull", "day", "--json", "-", "--no-report"]);
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(matches!(out.status.code(), Some(0 | 1)), "{name}: {} {said}", out.status);
        let record: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
        let frames = record["frames"].as_array().unwrap();
        assert!(frames.iter().any(|f| f["path"] == "good.jpg"), "{name}: {record}");
        for row in record["skipped"].as_array().unwrap() {
            let reason = row["reason"].as_str().unwrap();
            assert!(is_plain(reason), "{name}: {reason}");
        }
    }
}

#[test]
fn all_of_them_together_and_one_by_one_in_other_commands() {
    let place = Place::new();
    let good = jpeg(&picture(1.0), &exposed(0, 0));
    place.put("day/good.jpg", &good);
    place.put("day/good-2.jpg", &jpeg(&picture(1.3), &exposed(0, 1)));
    let files = hostile();
    for (name, bytes) in &files {
        place.put(&format!("day/{name}"), bytes);
    }
    for args in [&["noise", "day"][..], &["compare", "day", "--no-report"]] {
        let (command, out) = (args[0], limited(&place, args));
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(!said.contains("Usage"), "{said}");
        // Two frames are no series: compare may refuse them, in words.
        assert!(matches!(out.status.code(), Some(0..=2)), "{command}: {} {said}", out.status);
        assert!(!said.contains("panicked") && !said.contains("memory allocation"), "{said}");
    }
    for (name, _) in files.iter().filter(|f| f.0.ends_with("dng") || f.0.ends_with("cr3")).take(8) {
        for command in ["inspect", "scale"] {
            let out = limited(&place, &[command, &format!("day/{name}")]);
            let said = String::from_utf8_lossy(&out.stderr);
            assert_eq!(out.status.code(), Some(2), "{command} {name}: {said}");
            assert!(said.lines().count() <= 2 && is_plain(&said), "{command} {name}: {said}");
        }
    }
}

#[test]
fn cut_files_are_damaged_and_other_families_come_with_a_remedy() {
    let place = Place::new();
    let raw = small_raw();
    place.put("day/good.jpg", &jpeg(&picture(1.0), &exposed(0, 0)));
    place.put("day/cut.dng", &raw[..raw.len() / 2]);
    place.put("day/stub.nef", &raw[..128]);
    place.put("day/cut.cr3", &cr3(b"stco", &[0; 8])[..150]);
    place.put("day/phone.heic", b"\0\0\0\x18ftypheic");
    // A decoder fills the rest of a progressive picture with zeros: soft or even from there on.
    let whole = progressive();
    place.put("day/whole-progressive.jpg", &whole);
    for (name, share) in [("early.jpg", 0.3), ("late.jpg", 0.9)] {
        let len = (share * whole.len() as f64) as usize;
        place.put(&format!("day/{name}"), &[&whole[..len], &[0xff, 0xd9]].concat());
    }
    let (record, code) = place.culled(&["day"]);
    assert_eq!(code, Some(1));
    assert_eq!(record["frames"].as_array().unwrap().len(), 2, "{record}");
    for name in ["cut.dng", "stub.nef", "cut.cr3", "early.jpg", "late.jpg"] {
        let reason = super::skipped(&record, name);
        assert!(reason.starts_with("damaged picture"), "{name}: {reason}");
    }
    assert!(super::skipped(&record, "phone.heic").contains("Set the camera or phone to JPEG"));
}

// One thread at a time is enough to see that nothing is taken along: the children are those of the
// whole test binary.
#[test]
fn every_bit_of_every_count_and_of_every_next_directory_may_flip() {
    decode_in_children(std::path::Path::new(PROGRAM));
    let raw = small_raw();
    let whole = decode_raw(raw.clone()).unwrap();
    let (entries, nexts) = places(&raw);
    assert!(entries.len() >= 30 && nexts.len() == 2, "{} {}", entries.len(), nexts.len());
    let (mut tried, mut found, mut refused) = (0, 0, 0);
    for at in entries.iter().map(|e| e + 4).chain(nexts) {
        for bit in 0..32 {
            let mut file = raw.clone();
            file[at + bit / 8] ^= 1 << (bit % 8);
            found += usize::from(check_structure(&file).is_err());
            if let Err(why) = decode_raw(file) {
                refused += 1;
                assert!(is_plain(&why.to_string()), "{why}");
                assert!(!matches!(why, SkipReason::Unreadable(_)), "{why}");
            }
            tried += 1;
        }
    }
    // The upper half of each count is more than the file has, whatever its type.
    assert!(found >= entries.len() * 15, "{found} of {tried}");
    assert!(refused >= found, "{refused} of {tried}");
    assert_eq!(decode_raw(raw).unwrap(), whole);
}

/// As on a system without limits for processes: what the check lets through is decoded in the
/// program itself, which has 1 GiB of addresses.
#[test]
fn the_check_alone_keeps_flipped_sizes_and_counts_from_the_decoder() {
    /// Size, bits, compression, kind, strips, samples per pixel and rows per strip.
    const SIZES: [usize; 9] =
        [0x0100, 0x0101, 0x0102, 0x0103, 0x0106, 0x0111, 0x0115, 0x0116, 0x0117];
    let place = Place::new();
    place.put("day/good.jpg", &jpeg(&picture(1.0), &exposed(0, 0)));
    let raw = small_raw();
    let (entries, nexts) = places(&raw);
    let sizes = entries.iter().filter(|e| SIZES.contains(&u16_at(&raw, **e))).map(|e| e + 8);
    let sizes: Vec<usize> = sizes.collect();
    assert_eq!(sizes.len(), SIZES.len());
    let mut tried = 0;
    for at in entries.iter().map(|e| e + 4).chain(nexts).chain(sizes) {
        for bit in 0..32 {
            let flipped = raw[at + bit / 8] ^ 1 << (bit % 8);
            place.put(&format!("day/f{at:04}-{bit:02}.dng"), &with(&raw, at + bit / 8, &[flipped]));
            tried += 1;
        }
    }
    assert!(tried >= 1000, "{tried}");
    let alone = [("STOPWISE_DECODER", "off")];
    let out = limited_with(&place, &["cull", "day", "--json", "-", "--no-report"], &alone);
    let said = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(1), "{} {said}", out.status);
    let record: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    let (frames, skipped) = (record["frames"].as_array().unwrap(), &record["skipped"]);
    let skipped = skipped.as_array().unwrap();
    assert_eq!(frames.len() + skipped.len(), tried + 1);
    assert!(frames.iter().any(|f| f["path"] == "good.jpg"));
    // Every flip that makes a picture of 200,000 px or more of these 20,000 is refused.
    let refused = |bit: usize| {
        let end = format!("-{bit:02}.dng");
        skipped.iter().filter(|s| s["path"].as_str().unwrap().ends_with(&end)).count()
    };
    for bit in 12..32 {
        assert!(refused(bit) >= 2, "bit {bit}: {}", refused(bit));
    }
}

#[test]
fn the_budget_skips_what_exceeds_it_and_names_the_option() {
    let place = Place::new();
    place.put("day/good.jpg", &jpeg(&picture(1.0), &exposed(0, 0)));
    let tile = picture(1.0).to_luma();
    let (w, h) = (8_200usize, 8_000usize);
    let grey: Vec<u8> = (0..w * h)
        .map(|i| tile[(i / w) % super::SIZE.1 * super::SIZE.0 + i % w % super::SIZE.0])
        .collect();
    place.put("day/large.jpg", &jpeg_with(&grey, (w, h), &[]));
    let (record, code) = place.culled(&["day", "--memory", "64"]);
    assert_eq!(code, Some(1));
    let reason = super::skipped(&record, "large.jpg");
    assert!(reason.contains("64 MB"), "{reason}");
    assert_eq!(record["skipped"][0]["advice"], "allow more with --memory");
    place.run(&["cull", "day", "--memory", "64", "--report", "page.html"]);
    let page = std::fs::read_to_string(place.path().join("page.html")).unwrap();
    assert!(page.contains("64 MB") && !page.contains("--memory"), "an option on the page");
    let (record, code) = place.culled(&["day", "--memory", "200"]);
    assert_eq!((code, record["frames"].as_array().unwrap().len()), (Some(0), 2));
    assert_eq!(place.run(&["cull", "day", "--memory", "63"]).code, Some(2));
}

/// `noise` and `compare` keep the mosaic while they measure: the file alone is 17 MB here, with what
/// is made of it 70.
#[test]
fn the_budget_counts_decoded_raws_in_every_command() {
    let place = Place::new();
    for (name, n) in [("day/large.dng", 8.0), ("day/large-2.dng", 11.0)] {
        let tags = Tags { marked_f_number: Some(n), ..Tags::invented() };
        let raw = raw_of((3000, 2900), &tags);
        assert!((17_000_000..18_000_000).contains(&raw.len()));
        place.put(name, &raw);
    }
    let none = ["--no-report"];
    for (command, more) in [("noise", &none[..0]), ("compare", &none), ("cull", &none)] {
        let said = |memory: &str| {
            let out = place.run(&[&[command, "day", "--memory", memory], more].concat());
            out.stdout + &out.stderr
        };
        let small = said("64");
        assert!(small.contains("--memory") && small.contains("64 MB"), "{command}: {small}");
        let large = said("200");
        assert!(!large.contains("--memory") && !large.contains("Usage"), "{command}: {large}");
    }
}

/// Children have the file mapped: one that is cut while it is decoded ends them with this signal.
#[cfg(unix)]
#[test]
fn a_file_that_is_cut_meanwhile_costs_the_child_and_is_said() {
    use std::os::unix::fs::PermissionsExt;
    let place = Place::new();
    place.put("day/a.dng", &small_raw());
    let decoder = place.put("decoder", b"#!/bin/sh\nkill -BUS $$\n");
    std::fs::set_permissions(&decoder, std::fs::Permissions::from_mode(0o755)).unwrap();
    let out = place
        .command(&["inspect", "day/a.dng", "--no-report"])
        .env("STOPWISE_DECODER", &decoder)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(2), "{said}");
    assert!(said.contains("cut, or its card failed, while it was read"), "{said}");
}
