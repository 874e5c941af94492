/// Rows of a file in `reference/numerics`.
pub(crate) fn rows(name: &str) -> Vec<Vec<String>> {
    truth::rows(&format!("numerics/{name}"))
}
