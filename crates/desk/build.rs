//! Takes the built page (`make page`) into the program: each file of `web/built/page` by its path.

use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let web = Path::new(&env::var("CARGO_MANIFEST_DIR").expect("cargo says where the crate is"))
        .join("../../web/built");
    // The folder is there in every checkout, the page in it is not.
    println!("cargo::rerun-if-changed={}", web.display());
    let page = web.join("page");
    let mut files = Vec::new();
    if page.is_dir() {
        gather(&page, &mut files)?;
    }
    files.sort();
    let mut told = String::from("&[\n");
    for file in &files {
        let name = file.strip_prefix(&page).expect("it was found there");
        let name = name.to_string_lossy().replace('\\', "/");
        let full = file.canonicalize()?;
        told.push_str(&format!(
            "    ({name:?}, include_bytes!({:?})),\n",
            full.display().to_string()
        ));
    }
    told.push_str("]\n");
    let out = PathBuf::from(env::var("OUT_DIR").expect("cargo says where to write"));
    fs::write(out.join("page.rs"), told)
}

fn gather(folder: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        match path.is_dir() {
            true => gather(&path, files)?,
            false => files.push(path),
        }
    }
    Ok(())
}
