//! Marked-up picture (to be merged).
#![allow(missing_docs)]
use super::Sheet;
use crate::photo::LinearPicture;
use image::RgbImage;
pub fn marked(p: &LinearPicture, _s: &Sheet) -> Result<RgbImage, std::io::Error> {
    Ok(RgbImage::from_fn(
        p.width() as u32,
        p.height() as u32,
        |x, y| {
            let c = p.at(y as usize, x as usize);
            image::Rgb(c.map(|v| (crate::photo::srgb_encode(f64::from(v)) * 255.0) as u8))
        },
    ))
}
pub fn to_jpeg(p: &RgbImage) -> Result<Vec<u8>, std::io::Error> {
    let mut v = std::io::Cursor::new(vec![]);
    p.write_to(&mut v, image::ImageFormat::Jpeg)
        .map_err(std::io::Error::other)?;
    Ok(v.into_inner())
}
