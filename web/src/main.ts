import { mount } from "svelte";
import App from "./App.svelte";
import "./look.css";

const target = document.getElementById("desk");
if (target === null) throw new Error("the page has no place for the desk");
mount(App, { target });
